import {
  fUpperTail,
  chiSquaredUpperTail,
  normalTwoSidedP,
  studentTwoSidedP,
  twoSidedNormal,
  twoSidedStudent,
} from '../numeric';
import type { Limits } from './heterogeneity';
import { residualDegrees, type EffectsModel, type WeightedRegression } from './weighted-regression';

/**
 * How the interval of a pooled mean is made.
 * - `hartung-knapp`: the weighted scatter of the studies around the mean sets the standard error, t distribution;
 * - `hartung-knapp-floored`: the same, with a standard error never below Wald's;
 * - `wald`: tau^2 is taken as known, normal distribution.
 */
export type MeanInterval = 'hartung-knapp-floored' | 'hartung-knapp' | 'wald';

/** From the residuals to the standard errors of all coefficients. */
export interface CoefficientErrors {
  readonly method: MeanInterval;
  /** Weighted residual sum of squares over its degrees of freedom: Hartung and Knapp's factor, never floored. */
  readonly varianceFactor: number;
  /** Factor by which the variances of Wald's method are multiplied: 1 for Wald, the floor applied. */
  readonly factorInUse: number;
  /** Of the t distribution; null where it is the normal. */
  readonly degreesOfFreedom: number | null;
}

/** A mean or coefficient with its interval and the test that it is zero. */
export interface EstimatedCoefficient {
  readonly estimate: number;
  readonly standardError: number;
  readonly interval: Limits;
  /** Estimate over standard error; null where the standard error is 0. */
  readonly statistic: number | null;
  /** Two-sided p of no effect; null where the standard error is 0. */
  readonly p: number | null;
}

/** The test that several coefficients are zero together. */
export interface JointTest {
  readonly distribution: 'F' | 'chi-squared';
  /** null where the variance factor in use is 0: the studies fit without any scatter. */
  readonly statistic: number | null;
  readonly degreesOfFreedom: number;
  /** Of the denominator of F; null for chi-squared. */
  readonly denominatorDegreesOfFreedom: number | null;
  /** null together with the statistic. */
  readonly p: number | null;
}

/**
 * The variance factor of Hartung and Knapp and, independently, Sidik and Jonkman, and what is made of it.
 * Without a floor the interval of few studies that agree by luck can be shorter than one that ignores heterogeneity;
 * the floor prevents that at the price of covering too often where tau^2 is small.
 * Sources: Hartung and Knapp 2001; Sidik and Jonkman 2002; Knapp and Hartung 2003 (covariates); Röver, Knapp and
 * Friede 2015 (floor).
 */
export function coefficientErrors(
  model: EffectsModel,
  { squares }: WeightedRegression,
  method: MeanInterval,
): CoefficientErrors {
  const degrees = residualDegrees(model);
  const varianceFactor = squares / degrees;
  const floored = Math.max(1, varianceFactor);
  const factorInUse = method === 'wald' ? 1 : method === 'hartung-knapp' ? varianceFactor : floored;
  return { method, varianceFactor, factorInUse, degreesOfFreedom: method === 'wald' ? null : degrees };
}

/** A coefficient with its interval. `variance` is Wald's, before the factor. */
export function estimatedCoefficient(
  estimate: number,
  variance: number,
  { factorInUse, degreesOfFreedom }: CoefficientErrors,
  level: number,
): EstimatedCoefficient {
  const standardError = Math.sqrt(factorInUse * variance);
  const multiplier =
    degreesOfFreedom === null ? twoSidedNormal(level) : twoSidedStudent(level, degreesOfFreedom);
  const ratio = estimate / standardError;
  const statistic = Number.isFinite(ratio) ? ratio : null;
  const twoSidedP = (value: number): number =>
    degreesOfFreedom === null ? normalTwoSidedP(value) : studentTwoSidedP(value, degreesOfFreedom);
  return {
    estimate,
    standardError,
    interval: { lower: estimate - multiplier * standardError, upper: estimate + multiplier * standardError },
    statistic,
    p: statistic === null ? null : twoSidedP(statistic),
  };
}

/** The joint test of `count` coefficients whose explained weighted sum of squares is given. */
export function jointTest(
  explained: number,
  count: number,
  { factorInUse, degreesOfFreedom }: CoefficientErrors,
): JointTest {
  if (degreesOfFreedom === null) {
    return {
      distribution: 'chi-squared',
      statistic: explained,
      degreesOfFreedom: count,
      denominatorDegreesOfFreedom: null,
      p: chiSquaredUpperTail(explained, count),
    };
  }
  const ratio = explained / count / factorInUse;
  const statistic = Number.isFinite(ratio) ? ratio : null;
  return {
    distribution: 'F',
    statistic,
    degreesOfFreedom: count,
    denominatorDegreesOfFreedom: degreesOfFreedom,
    p: statistic === null ? null : fUpperTail(statistic, count, degreesOfFreedom),
  };
}
