import { checkColumn, READING, refuse, twoSidedStudent, type Refusal } from '../numeric';
import { checkLevel } from './checks';
import { fiellerInterval, type RatioInput, type RatioInterval, type RatioResiduals } from './fieller';
import { patientTotals, type PatientLabel } from './patient-totals';

/** Ratio of two means with its intervals. */
export interface RatioOfMeans {
  /** Independent units: pairs, or patients where rows carry a patient; of the two groups together where independent. */
  readonly units: number;
  readonly level: number;
  /** Mean of the numerator and of the denominator a unit (a patient's rows are added up). */
  readonly numeratorMean: number;
  readonly denominatorMean: number;
  readonly ratio: number;
  /** By the delta method. */
  readonly standardError: number;
  /** Degrees of freedom of t in all three intervals. */
  readonly df: number;
  /** Standard errors that the denominator's mean lies from 0; null where that error is 0. Below 4 only Fieller's set holds. */
  readonly denominatorDistance: number | null;
  /** Fieller's set: right however near 0 the denominator is, when means are normal. */
  readonly fieller: RatioInterval;
  /** ratio -+ t standardError. */
  readonly delta: { readonly lower: number; readonly upper: number };
  /** exp(log ratio -+ t standardError / ratio); null where the ratio is not above 0 or a limit is too large for a number. */
  readonly logDelta: { readonly lower: number; readonly upper: number } | null;
}

/** Numerator and denominator of each row; rows with equal `patient` belong together. */
export interface PairedColumns {
  readonly numerator: ArrayLike<number>;
  readonly denominator: ArrayLike<number>;
  readonly patient?: ArrayLike<PatientLabel>;
}

/**
 * Mean of the numerator over mean of the denominator, both taken of the same units: never the mean of their ratios.
 * With patients, rows are added up within each and patients are the independent units: the ratio is that of all rows,
 * its error that of a cluster sample. t on units - 1 degrees of freedom.
 * Sources: Fieller 1954; Cochran 1977, chapters 6 and 11 (clusters).
 */
export function pairedRatio(
  columns: PairedColumns,
  options: { readonly level?: number } = {},
): RatioOfMeans | Refusal {
  const { level = 0.95 } = options;
  const wrong = checkLevel(level) ?? checkPaired(columns);
  if (wrong !== null) return wrong;
  const { numerator, denominator } = patientTotals(columns);
  const n = numerator.length;
  if (n < 2) return tooFew(n, columns.patient === undefined ? 'pair' : 'patient');
  const above = momentsOf(numerator);
  const below = momentsOf(denominator);
  let products = 0;
  for (let i = 0; i < n; i++) {
    products += ((numerator[i] ?? NaN) - above.mean) * ((denominator[i] ?? NaN) - below.mean);
  }
  const input = {
    numerator: above.mean,
    denominator: below.mean,
    numeratorVariance: above.variance / n,
    denominatorVariance: below.variance / n,
    covariance: products / (n - 1) / n,
  };
  const residualVariance = (slope: number): number => {
    let squares = 0;
    for (let i = 0; i < n; i++) {
      squares += ((numerator[i] ?? NaN) - above.mean - slope * ((denominator[i] ?? NaN) - below.mean)) ** 2;
    }
    return squares / (n - 1) / n;
  };
  const slope = below.variance === 0 ? 0 : products / (n - 1) / below.variance;
  return ratioWithIntervals(input, n, level, {
    zero: below.zero,
    degreesOfFreedom: () => n - 1,
    residuals: (ratio) => ({
      aboutRatio: residualVariance(ratio),
      aboutRegression: residualVariance(slope),
    }),
  });
}

/**
 * Ratio of the means of two independent groups; their variances need not be equal.
 * t on Satterthwaite's degrees of freedom of numerator - ratio * denominator at the estimated ratio.
 * Sources: Fieller 1954; Satterthwaite 1946.
 */
export function independentRatio(
  groups: { readonly numerator: ArrayLike<number>; readonly denominator: ArrayLike<number> },
  options: { readonly level?: number } = {},
): RatioOfMeans | Refusal {
  const { level = 0.95 } = options;
  const { numerator, denominator } = groups;
  const wrong =
    checkLevel(level) ??
    checkColumn('numerator', numerator, READING) ??
    checkColumn('denominator', denominator, READING);
  if (wrong !== null) return wrong;
  if (numerator.length < 2) return tooFew(numerator.length, 'value of the numerator');
  if (denominator.length < 2) return tooFew(denominator.length, 'value of the denominator');
  const above = momentsOf(numerator);
  const below = momentsOf(denominator);
  const input = {
    numerator: above.mean,
    denominator: below.mean,
    numeratorVariance: above.variance / numerator.length,
    denominatorVariance: below.variance / denominator.length,
    covariance: 0,
  };
  const units = numerator.length + denominator.length;
  return ratioWithIntervals(input, units, level, {
    zero: below.zero,
    degreesOfFreedom: (ratio) => {
      const first = input.numeratorVariance;
      const second = ratio * ratio * input.denominatorVariance;
      if (first + second === 0) return units - 2;
      return (
        (first + second) ** 2 / (first ** 2 / (numerator.length - 1) + second ** 2 / (denominator.length - 1))
      );
    },
    residuals: (ratio) => ({
      aboutRatio: input.numeratorVariance + ratio * ratio * input.denominatorVariance,
      aboutRegression: input.numeratorVariance,
    }),
  });
}

interface Design {
  /** Whether the denominator's mean is 0 but for rounding. */
  readonly zero: boolean;
  readonly degreesOfFreedom: (ratio: number) => number;
  readonly residuals: (ratio: number) => RatioResiduals;
}

function ratioWithIntervals(
  input: RatioInput,
  units: number,
  level: number,
  { zero, degreesOfFreedom, residuals }: Design,
): RatioOfMeans | Refusal {
  const { numerator, denominator } = input;
  const ratio = numerator / denominator;
  if (zero || !Number.isFinite(ratio)) {
    return refuse('zero-denominator', 'The mean of the denominator is 0; it must not be 0.');
  }
  const df = degreesOfFreedom(ratio);
  const t = twoSidedStudent(level, df);
  const about = residuals(ratio);
  const standardError = Math.sqrt(about.aboutRatio) / Math.abs(denominator);
  const half = t * standardError;
  return {
    units,
    level,
    numeratorMean: numerator,
    denominatorMean: denominator,
    ratio,
    standardError,
    df,
    denominatorDistance:
      input.denominatorVariance === 0 ? null : Math.abs(denominator) / Math.sqrt(input.denominatorVariance),
    fieller: fiellerInterval(input, t, about),
    delta: { lower: ratio - half, upper: ratio + half },
    logDelta: logLimits(ratio, half),
  };
}

function logLimits(ratio: number, half: number): RatioOfMeans['logDelta'] {
  if (ratio <= 0) return null;
  const factor = Math.exp(half / ratio);
  return Number.isFinite(ratio * factor) ? { lower: ratio / factor, upper: ratio * factor } : null;
}

/** What is wrong with paired columns, or null. */
export function checkPaired({ numerator, denominator, patient }: PairedColumns): Refusal | null {
  const wrong =
    checkColumn('numerator', numerator, READING) ??
    checkColumn('denominator', denominator, READING, numerator.length);
  if (wrong !== null) return wrong;
  if (patient === undefined || patient.length === numerator.length) return null;
  return refuse(
    'wrong-length',
    `patient has ${patient.length} entries where ${numerator.length} are needed.`,
  );
}

/** A refusal that counts what there is too little of. */
export function tooFew(count: number, what: string): Refusal {
  return refuse('too-few', `There ${count === 1 ? 'is' : 'are'} ${count} ${what}; at least 2 are needed.`);
}

interface Moments {
  readonly mean: number;
  readonly variance: number;
  /** Whether the mean is 0 but for rounding. */
  readonly zero: boolean;
}

function momentsOf(values: ArrayLike<number>): Moments {
  const n = values.length;
  // From the first value on, so that equal values are their own mean and have no variance.
  const start = values[0] ?? NaN;
  let mean = start;
  let size = 0;
  for (let i = 0; i < n; i++) {
    mean += ((values[i] ?? NaN) - start) / n;
    size += Math.abs(values[i] ?? NaN) / n;
  }
  let squares = 0;
  for (let i = 0; i < n; i++) squares += ((values[i] ?? NaN) - mean) ** 2;
  return { mean, variance: squares / (n - 1), zero: Math.abs(mean) <= 4 * Number.EPSILON * size };
}
