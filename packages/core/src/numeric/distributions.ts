import incompleteBeta from '@stdlib/math-base-special-betainc';
import incompleteGamma from '@stdlib/math-base-special-gammainc';
import betaQuantileOf from '@stdlib/stats-base-dists-beta-quantile';
import chiSquaredQuantileOf from '@stdlib/stats-base-dists-chisquare-quantile';
import fQuantileOf from '@stdlib/stats-base-dists-f-quantile';
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

/** Two-sided p value of a standard normal statistic. */
export function normalTwoSidedP(z: number): number {
  return 2 * normalCumulative(-Math.abs(z));
}

/** Student's t distribution function, P(T <= t). */
export function studentCumulative(t: number, df: number): number {
  return studentProbability(t, df);
}

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

/** P(X > x) of a chi-squared variable, correct in the far tail. `x` >= 0, `df` > 0. */
export function chiSquaredUpperTail(x: number, df: number): number {
  return x <= 0 ? 1 : incompleteGamma(x / 2, df / 2, true, true);
}

/** P(X <= x) of a chi-squared variable, correct in the far lower tail. `x` >= 0, `df` > 0. */
export function chiSquaredCumulative(x: number, df: number): number {
  return x <= 0 ? 0 : incompleteGamma(x / 2, df / 2, true, false);
}

/** P(F > f) of an F variable, correct in the far tail. `f` >= 0. */
export function fUpperTail(f: number, numeratorDf: number, denominatorDf: number): number {
  if (f <= 0) return 1;
  return incompleteBeta(
    denominatorDf / (denominatorDf + numeratorDf * f),
    denominatorDf / 2,
    numeratorDf / 2,
  );
}

/** Quantile of the F distribution; `p` in (0, 1). */
export function fQuantile(p: number, numeratorDf: number, denominatorDf: number): number {
  return fQuantileOf(p, numeratorDf, denominatorDf);
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
