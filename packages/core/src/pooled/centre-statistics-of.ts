import {
  outcomeQuestionSchema,
  prepareQuestion,
  type OutcomeQuestion,
  type PreparedQuestion,
} from '../answers';
import { followUpFlow } from '../answers/flow';
import { patientContrasts, patientOutcome } from '../answers/patient-outcome';
import type { CentreSheet, PooledMethodError, PooledRecord } from '../contribution/pooled-record';
import type { StudyDefinition } from '../contribution/study-definition';
import { referenceCovers, type ImportedTable } from '../growth';
import { ageAtVisit, type Study } from '../records';
import type { CentreStatistics, MeasureStatistics } from './centre-statistics';
import { endingCounts, leftOutCounts, lossCounts } from './counts-of-outcomes';
import { INVENTED_TODAY, recordHistories } from './record-histories';
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
  const ordered = [...records].sort((a, b) => (a.pseudonym < b.pseudonym ? -1 : 1));
  const study = recordHistories(ordered);
  return {
    form: 1,
    definition: definitionVersion,
    software,
    flow: sheet.flow,
    treated: records.filter(({ group }) => group === 'treated').length,
    untreated: records.filter(({ group }) => group === 'untreated').length,
    measures: definition.measures.map((measure) => measureStatistics(study, measure, sheet, definition)),
  };
}

/** The question that a study definition asks of one measure. */
export function definitionQuestion(definition: StudyDefinition, measure: string): OutcomeQuestion {
  const { reference, threshold, rule, groupBy, level } = definition;
  return outcomeQuestionSchema.parse({
    measure,
    threshold,
    rule,
    groupBy,
    level,
    reference: REFERENCE_CHOICE[reference.kind],
    table: reference.kind === 'growth-table' ? reference.table.name : null,
    asOf: LAST_DAY,
  });
}

const REFERENCE_CHOICE = {
  'own-untreated-series': 'untreated-series',
  'growth-table': 'imported-table',
  'built-in-table': 'built-in-table',
} as const satisfies Record<StudyDefinition['reference']['kind'], OutcomeQuestion['reference']>;

/** After every day of the invented calendars, so that no visit is taken for one of the future. */
const LAST_DAY = '2199-12-31';

function measureStatistics(
  study: Study,
  measure: string,
  sheet: CentreSheet,
  definition: StudyDefinition,
): MeasureStatistics {
  const tables: readonly ImportedTable[] =
    definition.reference.kind === 'growth-table' ? [definition.reference.table] : [];
  const methodError = sheet.methodErrors.find((error) => error.measure === measure) ?? null;
  const prepared = withError(
    prepareQuestion(study, definitionQuestion(definition, measure), tables),
    methodError,
  );
  const { question, yardstick } = prepared;
  const treated = prepared.study.filter(({ patient }) => patient.group === 'treated');
  const outcomes = treated.map((history) => patientOutcome(history, question, yardstick));
  const contrasts = treated.flatMap((history) => patientContrasts(history, question, yardstick) ?? []);
  const withGains = new Set(contrasts.map(({ code }) => code));
  const flow = followUpFlow(treated, measure, INVENTED_TODAY, ({ patient, visits }, index) => {
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

/** The centre's own error in the place of the one read from the records, which hold one mean value a visit. */
function withError(prepared: PreparedQuestion, error: PooledMethodError | null): PreparedQuestion {
  if (error === null) return prepared;
  const errorVariance = error.retracingSd ** 2 + (error.filmSd ?? 0) ** 2;
  return { ...prepared, yardstick: { ...prepared.yardstick, errorVariance } };
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
