import betaQuantileOf from '@stdlib/stats-base-dists-beta-quantile';
import chiSquaredQuantileOf from '@stdlib/stats-base-dists-chisquare-quantile';
import normalProbability from '@stdlib/stats-base-dists-normal-cdf';
import normalQuantileOf from '@stdlib/stats-base-dists-normal-quantile';
import studentProbability from '@stdlib/stats-base-dists-t-cdf';
import studentQuantileOf from '@stdlib/stats-base-dists-t-quantile';

/** Standard normal distribution function, P(Z <= z). */
export function normalCumulative(z: number): number {
  return normalProbability(z, 0, 1);
}

/** Standard normal quantile; `p` in (0, 1). */
export function normalQuantile(p: number): number {
  const z = normalQuantileOf(p, 0, 1);
  if (p > FAR_TAIL) return z;
  // The library forms 1 - 2p there and loses digits; its distribution function does not, so a Newton step mends it.
  const density = Math.exp(-0.5 * z * z) / Math.sqrt(2 * Math.PI);
  return z + (p - normalCumulative(z)) / density;
}

const FAR_TAIL = 1e-5;

/** Student's t quantile; `p` in (0, 1), `df` > 0. */
export function studentQuantile(p: number, df: number): number {
  return studentQuantileOf(p, df);
}

/** Two-sided p value of a t statistic. */
export function studentTwoSidedP(t: number, df: number): number {
  return 2 * studentProbability(-Math.abs(t), df);
}

/** Chi-squared quantile; `p` in (0, 1), `df` > 0. */
export function chiSquaredQuantile(p: number, df: number): number {
  return chiSquaredQuantileOf(p, df);
}

/** Quantile of the beta distribution; `p` in (0, 1). Carries the exact binomial limits (Clopper and Pearson 1934). */
export function betaQuantile(p: number, a: number, b: number): number {
  return betaQuantileOf(p, a, b);
}

/** The two-sided normal multiplier of a confidence level: 1.96 for 0.95. */
export function twoSidedNormal(level: number): number {
  return normalQuantile((1 + level) / 2);
}

/** The two-sided t multiplier of a confidence level. */
export function twoSidedStudent(level: number, df: number): number {
  return studentQuantile((1 + level) / 2, df);
}
