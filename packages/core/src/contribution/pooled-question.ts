import { errorVariances, smallestDetectableChange, type MethodErrorInForce } from '../agreement';
import { prepareQuestion, type PreparedQuestion } from '../answers/prepared-question';
import type { OutcomeQuestionInput } from '../answers/question';
import type { ImportedTable } from '../growth/imported-table';
import type { MeasureDefinition } from '../measures/definition';
import type { Study } from '../records';
import { POOL_DAY, pooledHistories } from './pooled-histories';
import type { PooledMethodError, PooledRecord } from './pooled-record';
import type { StudyDefinition } from './study-definition';

/**
 * The question that a study definition asks of one of its measures, but for the day on which records are read.
 * A clinic's own records under it and its contributed records under `prepareContributed` are asked the same.
 */
export function definitionQuestion(definition: StudyDefinition, measure: string): OutcomeQuestionInput {
  const { threshold, rule, reference, groupBy, level } = definition;
  return {
    measure,
    threshold,
    rule,
    groupBy,
    level,
    reference: REFERENCE_CHOICES[reference.kind],
    table: reference.kind === 'growth-table' ? reference.table.name : null,
  };
}

const REFERENCE_CHOICES = {
  'own-untreated-series': 'untreated-series',
  'growth-table': 'imported-table',
  'built-in-table': 'built-in-table',
} as const satisfies Record<StudyDefinition['reference']['kind'], OutcomeQuestionInput['reference']>;

/** The growth tables that come with a definition. */
export function definitionTables({ reference }: StudyDefinition): ImportedTable[] {
  return reference.kind === 'growth-table' ? [reference.table] : [];
}

/**
 * One centre's contributed records made ready for core's answers under a definition. The method error is the one that
 * the centre gave, since contributed values have no duplicates among them; where it gave none for the measure, the
 * catalogue's default.
 *
 * @throws RangeError for a measure that is not in the catalogue
 */
export function prepareContributed(
  records: readonly PooledRecord[],
  methodErrors: readonly PooledMethodError[],
  definition: StudyDefinition,
  measure: string,
): PreparedQuestion {
  const study: Study = pooledHistories(records);
  const question = { ...definitionQuestion(definition, measure), asOf: POOL_DAY };
  const prepared = prepareQuestion(study, question, definitionTables(definition));
  const given = methodErrors.find((error) => error.measure === measure);
  if (given === undefined) return prepared;
  const methodError = errorInForce(given, prepared.measure);
  return {
    ...prepared,
    methodError,
    yardstick: {
      ...prepared.yardstick,
      error: errorVariances(methodError),
    },
  };
}

/** A centre's error as the answers take it. The readings behind it stay at the clinic, their number does not. */
function errorInForce(
  { retracingSd, filmSd, source, pairs, filmDf }: PooledMethodError,
  { defaultError }: MeasureDefinition,
): MethodErrorInForce {
  const sd = Math.hypot(retracingSd, filmSd ?? 0);
  return {
    sd,
    retracingSd,
    source,
    duplicates: null,
    provenance: source === 'default' ? defaultError.provenance : null,
    films: {
      sd: filmSd ?? 0,
      source: filmSd === null ? 'not-known' : 'second-films',
      own: null,
      provenance: null,
    },
    degreesOfFreedom: {
      retracing: source === 'duplicates' && pairs > 0 ? pairs : null,
      whole: filmSd === null || filmDf === undefined || filmDf === 0 ? null : filmDf,
    },
    smallestDetectableChange: smallestDetectableChange(sd),
  };
}
