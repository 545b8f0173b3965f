import incompleteBeta from '@stdlib/math-base-special-betainc';
import incompleteGamma from '@stdlib/math-base-special-gammainc';
import betaQuantileOf from '@stdlib/stats-base-dists-beta-quantile';
import chiSquaredQuantileOf from '@stdlib/stats-base-dists-chisquare-quantile';
import fQuantileOf from '@stdlib/stats-base-dists-f-quantile';
import normalProbability from '@stdlib/stats-base-dists-normal-cdf';
import normalQuantileOf from '@stdlib/stats-base-dists-normal-quantile';
import studentProbability from '@stdlib/stats-base-dists-t-cdf';
import studentQuantileOf from '@stdlib/stats-base-dists-t-quantile';
import { largeGammaTails } from './large-gamma';
import { rootBetween } from './root';

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
  if (df <= MANY_DF) return chiSquaredQuantileOf(p, df);
  const tail = p < 0.5 ? chiSquaredCumulative : chiSquaredUpperTail;
  const wanted = Math.log(Math.min(p, 1 - p));
  // Wilson and Hilferty 1931
  const start = df * (1 - 2 / (9 * df) + normalQuantile(p) * Math.sqrt(2 / (9 * df))) ** 3;
  const excess = (x: number): number => Math.log(tail(x, df)) - wanted;
  return rootBetween(excess, 0.95 * start, 1.05 * start, 1e-15 * start) ?? start;
}

/**
 * More degrees of freedom than this are computed here: from 900 on the library loses digits in the far upper tail, and
 * from 1700 on its probabilities are wrong by up to a fifth.
 */
const MANY_DF = 200;

/** P(X > x) of a chi-squared variable, correct in the far tail. `x` >= 0, `df` > 0. */
export function chiSquaredUpperTail(x: number, df: number): number {
  if (x <= 0) return 1;
  return df > MANY_DF ? largeGammaTails(x / 2, df / 2).upper : incompleteGamma(x / 2, df / 2, true, true);
}

/** P(X <= x) of a chi-squared variable, correct in the far lower tail. `x` >= 0, `df` > 0. */
export function chiSquaredCumulative(x: number, df: number): number {
  if (x <= 0) return 0;
  return df > MANY_DF ? largeGammaTails(x / 2, df / 2).lower : incompleteGamma(x / 2, df / 2, true, false);
}

/** P(F > f) of an F variable, correct in the far tail. `f` >= 0. */
export function fUpperTail(f: number, numeratorDf: number, denominatorDf: number): number {
  if (f <= 0) return 1;
  // Of the two equivalent arguments the smaller keeps its digits.
  const share = (numeratorDf * f) / (denominatorDf + numeratorDf * f);
  const rest = denominatorDf / (denominatorDf + numeratorDf * f);
  return share < rest
    ? incompleteBeta(share, numeratorDf / 2, denominatorDf / 2, true, true)
    : incompleteBeta(rest, denominatorDf / 2, numeratorDf / 2);
}

/** P(F <= f) of an F variable, correct in the far lower tail. `f` >= 0. */
function fCumulative(f: number, numeratorDf: number, denominatorDf: number): number {
  return f <= 0 ? 0 : fUpperTail(1 / f, denominatorDf, numeratorDf);
}

/**
 * Quantile of the F distribution; `p` in (0, 1). The library's own loses digits in the lower tail (1e-5 of the value
 * at p = 1e-6), so it only starts the search for the place where the smaller tail has its probability.
 */
export function fQuantile(p: number, numeratorDf: number, denominatorDf: number): number {
  const tail = p < 0.5 ? fCumulative : fUpperTail;
  const wanted = Math.log(Math.min(p, 1 - p));
  const excess = (logF: number): number =>
    Math.log(tail(Math.exp(logF), numeratorDf, denominatorDf)) - wanted;
  const start = Math.log(fQuantileOf(p, numeratorDf, denominatorDf));
  const place = rootBetween(excess, start - 0.5, start + 0.5, 1e-14);
  return Math.exp(place ?? start);
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
