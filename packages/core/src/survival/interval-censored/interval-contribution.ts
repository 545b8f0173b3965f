import type { ErrorDistribution } from './error-distributions';

/**
 * What one observation gives to the log-likelihood as a function of its standardised ends `low` and `high`: the
 * value and those sums of derivatives in the ends that a regression needs. As sums they keep their digits for narrow
 * intervals, where the single derivatives grow without bound. An end at infinity, and the low end of an exact time,
 * has derivatives 0.
 */
export interface Contribution {
  value: number;
  /** Derivative in both ends moved together, and in `high` alone. */
  together: number;
  atHigh: number;
  /** Derivative of `together` in `low` and in `high`. */
  togetherLow: number;
  togetherHigh: number;
  /** Second derivative in one end and the other. */
  lowHigh: number;
}

/** Place for a contribution, to be filled again and again. */
export function emptyContribution(): Contribution {
  return { value: 0, together: 0, atHigh: 0, togetherLow: 0, togetherHigh: 0, lowHigh: 0 };
}

/**
 * Narrower than this, times the steepness of the density, an interval is taken for its middle times its width in
 * the derivatives: both that and the differences it replaces are then right to about 1e-8.
 */
const NARROW = 1e-4;

/**
 * Writes the contribution of an observation. For a censored one the value is log(F(high) - F(low)); for an exact one,
 * whose width is 0, it is the log density at `high`.
 *
 * @param low -Infinity for a left-censored time
 * @param high Infinity for a right-censored time
 * @param width high - low, from a difference that loses fewer digits than that of the standardised ends
 */
export function contribute(
  into: Contribution,
  error: ErrorDistribution,
  low: number,
  high: number,
  width: number,
): void {
  into.togetherLow = into.togetherHigh = into.lowHigh = into.atHigh = 0;
  if (width === 0) {
    into.value = error.logDensity(high);
    into.together = into.atHigh = error.slope(high);
    into.togetherHigh = error.curvature(high);
  } else if (high === Infinity) {
    if (low === -Infinity) {
      into.value = into.together = 0;
      return;
    }
    into.value = error.logSurvival(low);
    const ratio = Math.exp(error.logDensity(low) - into.value);
    into.together = -ratio;
    into.togetherLow = -ratio * (error.slope(low) + ratio);
  } else if (low === -Infinity) {
    into.value = error.logCumulative(high);
    const ratio = Math.exp(error.logDensity(high) - into.value);
    into.together = into.atHigh = ratio;
    into.togetherHigh = ratio * (error.slope(high) - ratio);
  } else {
    contributeBetween(into, error, low, high, width);
  }
}

function contributeBetween(
  into: Contribution,
  error: ErrorDistribution,
  low: number,
  high: number,
  width: number,
): void {
  into.value = error.logBetween(low, high, width);
  const middle = low + width / 2;
  const slope = error.slope(middle);
  if (width * (1 + Math.abs(slope)) < NARROW) {
    const half = error.curvature(middle) / 2;
    into.together = slope;
    into.atHigh = slope / 2 + 1 / width;
    into.togetherLow = into.togetherHigh = half;
    into.lowHigh = half / 2 + 1 / (width * width);
    return;
  }
  const highRatio = Math.exp(error.logDensity(high) - into.value);
  const lowRatio = Math.exp(error.logDensity(low) - into.value);
  into.together = highRatio - lowRatio;
  into.atHigh = highRatio;
  into.togetherLow = lowRatio * (into.together - error.slope(low));
  into.togetherHigh = highRatio * (error.slope(high) - into.together);
  into.lowHigh = highRatio * lowRatio;
}
