import { errorVariances, methodErrorInForce, scaledMethodError, type MethodErrorInForce } from '../agreement';
import { growthReference, type GrowthReference, type ImportedTable } from '../growth';
import { findMeasure, type MeasureDefinition } from '../measures';
import { latestDate, withFilmFactor, type Study } from '../records';
import type { Yardstick } from '../retention';
import { filmsOfStudy, type FilmsOfStudy } from './films-of-study';
import { outcomeQuestionSchema, type OutcomeQuestion, type OutcomeQuestionInput } from './question';
import { studyAsOf } from './study-as-of';

/** A question with every default filled in, and all that is read from the study before any patient is judged. */
export interface PreparedQuestion {
  /** The study as it was known on the question's day, with the question's factor for films that carry none. */
  readonly study: Study;
  readonly question: OutcomeQuestion;
  /** Lengths whose films carry no factor of their own. */
  readonly films: FilmsOfStudy;
  readonly measure: MeasureDefinition;
  readonly methodError: MethodErrorInForce;
  readonly reference: GrowthReference;
  /** The growth tables that the clinic imported. */
  readonly tables: readonly ImportedTable[];
  readonly yardstick: Yardstick;
}

/**
 * Reads the study's method error and fits its expected growth for a question.
 *
 * @param tables growth tables that the clinic imported
 * @throws ZodError for a question that does not fit its schema; RangeError for a measure that is not in the catalogue
 */
export function prepareQuestion(
  study: Study,
  input: OutcomeQuestionInput,
  tables: readonly ImportedTable[] = [],
): PreparedQuestion {
  const parsed = outcomeQuestionSchema.parse(input);
  const measure = findMeasure(parsed.measure);
  if (measure === undefined)
    throw new RangeError(`prepareQuestion: no measure ${parsed.measure} in the catalogue`);
  const question = { ...parsed, asOf: parsed.asOf ?? latestDate(study) };
  const recorded = studyAsOf(study, question.asOf);
  const films = filmsOfStudy(recorded, measure, question.filmFactor);
  const known = withFilmFactor(recorded, question.filmFactor);
  const methodError = scaledMethodError(methodErrorInForce(known, measure), question.errorFactor);
  const reference = growthReference(known, measure, question.reference, {
    tables,
    name: question.table,
  });
  const yardstick = { direction: measure.direction, error: errorVariances(methodError), reference };
  return { study: known, question, films, measure, methodError, reference, tables, yardstick };
}
