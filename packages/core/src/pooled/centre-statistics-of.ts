import type { PreparedQuestion } from '../answers';
import { followUpFlow } from '../answers/flow';
import { patientRisk } from '../answers/patient-outcome';
import { POOL_DAY } from '../contribution/pooled-histories';
import { prepareContributed } from '../contribution/pooled-question';
import type { CentreSheet, PooledRecord } from '../contribution/pooled-record';
import type { StudyDefinition } from '../contribution/study-definition';
import { referenceCovers } from '../growth';
import { ageAtVisit } from '../records';
import type { CentreStatistics, MeasureStatistics } from './centre-statistics';
import { endingCounts, leftOutCounts, lossCounts } from './counts-of-outcomes';
import { retentionSums } from './retention-sums';
import { separationSums } from './separation-sums';

/** What stands beside a centre's records when its statistics are made. */
export interface StatisticsContext {
  readonly sheet: CentreSheet;
  readonly definition: StudyDefinition;
  /** Version of the definition, from 1. */
  readonly definitionVersion: number;
  /** Version of the program, as `0.1.0`. */
  readonly software: string;
}

/**
 * A centre's statistics under a study definition: pure, and the same whoever computes them, the service from the records
 * it holds or a centre at home that sends nothing else. The order of the records decides nothing.
 */
export function centreStatistics(
  records: readonly PooledRecord[],
  { sheet, definition, definitionVersion, software }: StatisticsContext,
): CentreStatistics {
  const ordered = withListedProtocols(records, definition).sort((a, b) =>
    a.pseudonym < b.pseudonym ? -1 : 1,
  );
  return {
    form: 1,
    definition: definitionVersion,
    software,
    flow: sheet.flow,
    treated: records.filter(({ group }) => group === 'treated').length,
    untreated: records.filter(({ group }) => group === 'untreated').length,
    measures: definition.measures.map((measure) => measureStatistics(ordered, measure, sheet, definition)),
  };
}

/** Only protocols of the study's list are named: groups are written by them, and whatever else stands there is not known. */
function withListedProtocols(
  records: readonly PooledRecord[],
  { protocols }: StudyDefinition,
): PooledRecord[] {
  const listed = new Set<string | null>(protocols);
  return records.map((record) => (listed.has(record.protocol) ? record : { ...record, protocol: null }));
}

function measureStatistics(
  records: readonly PooledRecord[],
  measure: string,
  sheet: CentreSheet,
  definition: StudyDefinition,
): MeasureStatistics {
  const methodError = sheet.methodErrors.find((error) => error.measure === measure) ?? null;
  const prepared = prepareContributed(records, sheet.methodErrors, definition, measure);
  const { question, yardstick } = prepared;
  const treated = prepared.study.filter(({ patient }) => patient.group === 'treated');
  const patients = treated.map((history) => patientRisk(history, question, yardstick));
  const outcomes = patients.map(({ risk }) => risk);
  const contrasts = patients.flatMap((patient) => patient.contrasts ?? []);
  const withGains = new Set(contrasts.map(({ code }) => code));
  const flow = followUpFlow(treated, measure, POOL_DAY, ({ patient, visits }, index) => {
    const visit = visits[index];
    const age = visit === undefined ? null : ageAtVisit(patient, visit);
    return (
      withGains.has(patient.code) &&
      age !== null &&
      referenceCovers(yardstick.reference, patient.sex, age) !== 'outside'
    );
  });
  const wanted = new Set(definition.years);
  return {
    measure,
    methodError,
    reference: referenceOf(prepared),
    leftOut: leftOutCounts(outcomes),
    flow: flow
      .filter(({ year }) => wanted.has(year))
      .map(({ year, eligible, seen, measured, notSeen }) => ({
        year,
        eligible,
        seen,
        measured,
        notSeen: { ...notSeen },
      })),
    retention: [...definition.years]
      .sort((a, b) => a - b)
      .flatMap((year) => retentionSums(contrasts, yardstick, year) ?? []),
    losses: lossCounts(outcomes, definition.groupBy),
    endings: endingCounts(outcomes),
    separation: separationSums(contrasts, yardstick, definition.level),
  };
}

function referenceOf({ reference }: PreparedQuestion): MeasureStatistics['reference'] {
  switch (reference.kind) {
    case 'not-needed':
    case 'none':
      return { kind: reference.kind, children: 0 };
    case 'untreated-series':
      return { kind: 'own', children: reference.series.reduce((sum, { children }) => sum + children, 0) };
    case 'imported-table':
    case 'built-in-table':
      return { kind: 'common', children: 0 };
  }
}
