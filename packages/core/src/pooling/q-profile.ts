import { chiSquaredQuantile, rootBetween } from '../numeric';
import { regressionAt, residualDegrees, weightedRegression, type EffectsModel } from './weighted-regression';

/** Confidence limits of tau^2, in the square of the estimates' unit. */
export interface QProfileInterval {
  readonly lower: number;
  readonly upper: number;
  /**
   * True where the estimates lie closer together than their variances allow even for tau^2 = 0 at this level. No tau^2
   * fits then, and both limits are 0: doubt the variances, or the studies' independence.
   */
  readonly tooAlike: boolean;
}

/**
 * Limits of tau^2: all values at which Q, weighted with 1 / (variance + tau^2), lies between its chi-squared quantiles.
 * Exact where the studies' variances are known and their estimates normal. The point estimate by another estimator than
 * Paule and Mandel's may lie outside.
 * Sources: Viechtbauer 2007; Jackson, Turner, Rhodes and Viechtbauer 2014 (with covariates).
 */
export function qProfileInterval(model: EffectsModel, level: number): QProfileInterval {
  const degrees = residualDegrees(model);
  const smallest = chiSquaredQuantile((1 - level) / 2, degrees);
  return {
    lower: tauSquaredWhere(model, chiSquaredQuantile((1 + level) / 2, degrees)),
    upper: tauSquaredWhere(model, smallest),
    tooAlike: regressionAt(model, 0).squares < smallest,
  };
}

/** The tau^2 at which Q has the given value; 0 where Q is no larger than that at tau^2 = 0, from where on it only falls. */
export function tauSquaredWhere(model: EffectsModel, target: number): number {
  // Q grows about in proportion to 1 / tau^2, so that this is nearly a straight line.
  const excess = (tauSquared: number): number => target / regressionAt(model, tauSquared).squares - 1;
  if (!(excess(0) < 0)) return 0;
  const smallestVariance = model.variance.reduce((least, value) => Math.min(least, value), Infinity);
  // Q(tau^2) is at most the unweighted sum of squares over the smallest variance plus tau^2.
  const unweighted = weightedRegression(model, new Float64Array(model.estimate.length).fill(1)).squares;
  return rootBetween(excess, 0, (1.001 * unweighted) / target, 1e-15 * smallestVariance) ?? 0;
}
