import { chiSquaredQuantile } from '../numeric';

/** The two ends of an interval, in the unit of the quantity. */
export interface Limits {
  readonly lower: number;
  readonly upper: number;
}

/**
 * Limits of a variance from an estimate for which df * estimate / variance is chi-squared on df degrees of freedom.
 *
 * @param level two-sided confidence, in (0, 1)
 */
export function varianceLimits(estimate: number, df: number, level: number): Limits {
  const tail = (1 - level) / 2;
  return {
    lower: (estimate * df) / chiSquaredQuantile(1 - tail, df),
    upper: (estimate * df) / chiSquaredQuantile(tail, df),
  };
}

/** As `varianceLimits`, of the standard deviation; null where the estimate is 0, which tells nothing of the upper end. */
export function standardDeviationLimits(sd: number, df: number, level: number): Limits | null {
  if (sd === 0) return null;
  const { lower, upper } = varianceLimits(sd * sd, df, level);
  return { lower: Math.sqrt(lower), upper: Math.sqrt(upper) };
}
