import { normalCumulative, normalQuantile } from './distributions';
import type { RandomStream } from './random';

/** Values of a statistic over samples drawn with replacement. */
export interface BootstrapReplicates {
  /** In rising order; without the undefined ones. */
  readonly values: Float64Array;
  /** Samples in which the statistic was not defined. */
  readonly undefinedCount: number;
}

/**
 * Draws `replicates` samples of `size` row numbers with replacement and takes the statistic of each.
 * Source: Efron and Tibshirani 1993, chapter 6.
 *
 * @param statistic of the drawn row numbers, which are overwritten by the next draw; null or not finite: undefined
 */
export function bootstrapReplicates(
  size: number,
  replicates: number,
  random: RandomStream,
  statistic: (rows: Uint32Array) => number | null,
): BootstrapReplicates {
  const rows = new Uint32Array(size);
  const values = new Float64Array(replicates);
  let defined = 0;
  for (let replicate = 0; replicate < replicates; replicate++) {
    for (let i = 0; i < size; i++) rows[i] = random.integer(size);
    const value = statistic(rows);
    if (value !== null && Number.isFinite(value)) values[defined++] = value;
  }
  return { values: values.slice(0, defined).sort(), undefinedCount: replicates - defined };
}

/** Limits from bootstrap replicates. */
export interface BootstrapLimits {
  readonly lower: number;
  readonly upper: number;
  /** Whether a limit is the smallest or largest replicate, because there are too few of them for this level. */
  readonly atExtreme: boolean;
}

/**
 * Percentile limits: quantiles of the replicates at (1 - level) / 2 and (1 + level) / 2.
 * Source: Efron and Tibshirani 1993, chapter 13. Quantiles: see `bootstrapQuantile`.
 *
 * @param sorted replicates in rising order, at least one
 */
export function percentileLimits(sorted: ArrayLike<number>, level: number): BootstrapLimits {
  return limitsAt(sorted, (1 - level) / 2, (1 + level) / 2);
}

/** Bias-corrected and accelerated limits with the two corrections. */
export interface AcceleratedLimits extends BootstrapLimits {
  /** z of the share of replicates below the estimate. */
  readonly biasCorrection: number;
  readonly acceleration: number;
}

/**
 * Bias-corrected and accelerated (BCa) limits.
 * Replicates that equal the estimate count half as below it: with few distinct values, all of them on one side would
 * shift the limits by a rounding error. Source: Efron 1987; Efron and Tibshirani 1993, chapter 14.
 *
 * @param sorted replicates in rising order
 * @param acceleration from `jackknifeAcceleration`
 * @returns null where all replicates lie on one side of the estimate, or the corrections run past the ends of the scale
 */
export function acceleratedLimits(
  sorted: ArrayLike<number>,
  estimate: number,
  acceleration: number,
  level: number,
): AcceleratedLimits | null {
  const below = shareBelow(sorted, estimate);
  if (!(below > 0 && below < 1)) return null;
  const biasCorrection = normalQuantile(below);
  const corrected = (p: number): number | null => {
    const shifted = biasCorrection + normalQuantile(p);
    const stretch = 1 - acceleration * shifted;
    return stretch > 0 ? normalCumulative(biasCorrection + shifted / stretch) : null;
  };
  const low = corrected((1 - level) / 2);
  const high = corrected((1 + level) / 2);
  if (low === null || high === null) return null;
  return { ...limitsAt(sorted, low, high), biasCorrection, acceleration };
}

/**
 * Acceleration from leave-one-out values of the statistic: the skewness of its influence values over 6.
 * Deviations are from the mean of the values (Efron and Tibshirani 1993, formula 14.15). 0 where all are equal but for
 * rounding.
 */
export function jackknifeAcceleration(leftOut: ArrayLike<number>): number {
  const n = leftOut.length;
  let mean = 0;
  let largest = 0;
  for (let i = 0; i < n; i++) {
    mean += (leftOut[i] ?? NaN) / n;
    largest = Math.max(largest, Math.abs(leftOut[i] ?? NaN));
  }
  let squares = 0;
  let cubes = 0;
  for (let i = 0; i < n; i++) {
    const deviation = mean - (leftOut[i] ?? NaN);
    squares += deviation ** 2;
    cubes += deviation ** 3;
  }
  const rounding = (8 * n * Number.EPSILON * largest) ** 2;
  return squares <= rounding ? 0 : cubes / (6 * squares ** 1.5);
}

/**
 * Quantile of bootstrap replicates: order statistic (R + 1) p, between two of them by interpolation on the normal scale.
 * Source: Davison and Hinkley 1997, formula 5.8.
 *
 * @param sorted in rising order, at least one
 * @param p in (0, 1); beyond the smallest or largest replicate that one is given
 */
export function bootstrapQuantile(sorted: ArrayLike<number>, p: number): number {
  const size = sorted.length;
  const rank = (size + 1) * p;
  const whole = Math.floor(rank);
  if (whole < 1) return sorted[0] ?? NaN;
  if (whole >= size) return sorted[size - 1] ?? NaN;
  const low = sorted[whole - 1] ?? NaN;
  if (rank === whole) return low;
  const high = sorted[whole] ?? NaN;
  const zLow = normalQuantile(whole / (size + 1));
  const zHigh = normalQuantile((whole + 1) / (size + 1));
  return low + ((normalQuantile(p) - zLow) / (zHigh - zLow)) * (high - low);
}

function limitsAt(sorted: ArrayLike<number>, low: number, high: number): BootstrapLimits {
  const size = sorted.length;
  return {
    lower: bootstrapQuantile(sorted, low),
    upper: bootstrapQuantile(sorted, high),
    atExtreme: Math.floor((size + 1) * low) < 1 || Math.floor((size + 1) * high) >= size,
  };
}

function shareBelow(sorted: ArrayLike<number>, estimate: number): number {
  let below = 0;
  let equal = 0;
  for (let i = 0; i < sorted.length; i++) {
    const value = sorted[i] ?? NaN;
    // Replicates of the very same sample differ from the estimate by rounding where rows are summed in another order.
    if (Math.abs(value - estimate) <= 4 * Number.EPSILON * Math.abs(estimate)) equal++;
    else if (value < estimate) below++;
  }
  return (below + equal / 2) / sorted.length;
}
