import type { Study } from '../records';
import { centreSheet } from './centre-sheet';
import { coarsen, type RecordCoarsening } from './coarsen';
import { deidentify, type ClinicContext, type NotContributed, type NotUsed } from './deidentify';
import type { CentreSheet, PooledRecord } from './pooled-record';
import type { StudyDefinition } from './study-definition';
import { residualRisk, type ResidualRisk } from './residual-risk';

/** A clinic's contribution to a pool: what leaves, and for the clinic's own eyes what was done. */
export interface ClinicContribution {
  /** Leaves. In the order of their pseudonyms. */
  readonly records: readonly PooledRecord[];
  /** Leaves. */
  readonly sheet: CentreSheet;
  /** Stays: what became less precise, of each record in their order. */
  readonly coarsening: readonly RecordCoarsening[];
  /** Stays: who is not in it and why, by the clinic's own codes. */
  readonly leftOut: readonly NotContributed[];
  /** Stays: the clinic's own code of each pseudonym that leaves. */
  readonly codes: ReadonlyMap<string, string>;
  readonly notUsed: NotUsed;
  readonly risk: ResidualRisk;
}

/**
 * Everything that leaves a clinic under a definition, and nothing else: consenting patients' records without anything
 * that names them, small groups coarsened. The same study gives the same contribution, in whatever order its patients,
 * visits and events stand.
 *
 * @param study all patients of the clinic
 * @param pseudonymOf the clinic's pseudonym of a patient code; the same for the same code
 * @throws RangeError where two codes get one pseudonym, or a measure is not in the catalogue; ZodError for a pseudonym
 *   that is not 32 hexadecimal digits
 */
export function clinicContribution(
  study: Study,
  definition: StudyDefinition,
  pseudonymOf: (code: string) => string,
  context: ClinicContext,
): ClinicContribution {
  const { contributed, leftOut, notUsed } = deidentify(study, definition, pseudonymOf, context);
  const { records, coarsening, tooFewAlike } = coarsen(
    contributed.map(({ record }) => record),
    definition.coarsening,
  );
  const few = new Set(tooFewAlike);
  const leaving = contributed.filter(({ record }) => !few.has(record.pseudonym));
  const staying = contributed
    .filter(({ record }) => few.has(record.pseudonym))
    .map(({ record: { pseudonym, group }, history }): NotContributed => {
      return { code: history.patient.code, pseudonym, group, reason: 'too-few-alike' };
    });
  const allLeftOut = [...leftOut, ...staying].sort((a, b) => (a.code < b.code ? -1 : 1));
  return {
    records,
    sheet: centreSheet(
      leaving.map(({ history }) => history),
      allLeftOut,
      definition,
    ),
    coarsening,
    leftOut: allLeftOut,
    codes: new Map(leaving.map(({ record, history }) => [record.pseudonym, history.patient.code])),
    notUsed,
    risk: residualRisk(records, definition.coarsening.smallestGroup),
  };
}
