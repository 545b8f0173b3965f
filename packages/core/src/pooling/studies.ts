import { checkColumn, refuse, type ColumnRule, type Refusal } from '../numeric';

/** What several studies (clinics, trials) say about the same quantity, one row a study. */
export interface StudyEffects {
  /** The estimate of each study, all in the same unit. */
  readonly estimate: ArrayLike<number>;
  /** The square of each estimate's standard error, known or estimated within the study. */
  readonly variance: ArrayLike<number>;
}

export type StudiesRefusal = Refusal<'wrong-length' | 'wrong-value' | 'too-few-studies' | 'wrong-level'>;

/** Far beyond any measure, and near enough to 1 that squares of squares stay finite. */
const LARGEST = 1e60;
const SMALLEST_VARIANCE = 1e-60;

const ESTIMATE: ColumnRule = {
  holds: (value) => Math.abs(value) <= LARGEST,
  must: `a finite number, no larger than ${LARGEST} in size`,
};
const VARIANCE: ColumnRule = {
  holds: (value) => value >= SMALLEST_VARIANCE && value <= LARGEST,
  must: `a variance above 0, between ${SMALLEST_VARIANCE} and ${LARGEST}; a study without error can't be weighted`,
};

/**
 * Checks the two columns.
 *
 * @param needed least number of studies, and what they are needed for, in words that complete "are needed "
 */
export function checkStudies(
  { estimate, variance }: StudyEffects,
  needed: { readonly studies: number; readonly for: string },
): StudiesRefusal | null {
  return (
    checkEstimates(estimate, { studies: 0, for: '' }) ??
    checkColumn('variance', variance, VARIANCE, estimate.length) ??
    checkEstimates(estimate, needed)
  );
}

/** Checks the estimates alone, as `checkStudies` does. */
export function checkEstimates(
  estimate: ArrayLike<number>,
  needed: { readonly studies: number; readonly for: string },
): StudiesRefusal | null {
  const wrong = checkColumn('estimate', estimate, ESTIMATE);
  if (wrong !== null) return wrong;
  if (estimate.length >= needed.studies) return null;
  return refuse(
    'too-few-studies',
    `${estimate.length} ${estimate.length === 1 ? 'study is' : 'studies are'} given; at least ${needed.studies} are needed ${needed.for}.`,
  );
}

/** Checks a confidence level; beyond these ends quantiles lose their meaning or their digits. */
export function checkLevel(level: number): Refusal<'wrong-level'> | null {
  if (level >= 0.001 && level <= 0.999999) return null;
  return refuse(
    'wrong-level',
    `The level is ${level}; it must lie between 0.001 and 0.999999, usually 0.95.`,
  );
}
