import { isRefusal } from '../numeric';
import { betweenStudyVariance, type BetweenStudyVariance, type TauEstimator } from './between-study-variance';
import { equalWeightsMean, type EqualWeightsMean } from './equal-weights';
import {
  coefficientErrors,
  estimatedCoefficient,
  type CoefficientErrors,
  type EstimatedCoefficient,
  type MeanInterval,
} from './hartung-knapp';
import { heterogeneityOf, type Heterogeneity } from './heterogeneity';
import { predictionInterval, type PredictionDegrees, type PredictionInterval } from './prediction-interval';
import { checkLevel, checkStudies, type StudiesRefusal, type StudyEffects } from './studies';
import { sharesOf } from './weight-shares';
import { oneMean, regressionAt } from './weighted-regression';

/** Choices of a random-effects analysis. */
export interface PoolingOptions {
  /** Of all intervals; default 0.95. */
  readonly level?: number;
  /** Default `restricted-maximum-likelihood`. */
  readonly estimator?: TauEstimator;
  /** Default `hartung-knapp-floored`: few studies of unequal size are the rule (Röver, Knapp and Friede 2015). */
  readonly interval?: MeanInterval;
  /** Default `studies-minus-two` (Higgins, Thompson and Spiegelhalter 2009). */
  readonly predictionDegrees?: PredictionDegrees;
}

/**
 * What a reader must be told beside the numbers.
 * - `one-degree-of-freedom`: t on 1 degree of freedom; the interval is so wide that it hardly says anything;
 * - `floor-applied`: the studies scatter less than expected, and the floor of the variance factor widened the interval;
 * - `shorter-than-wald`: the same without a floor: the interval is shorter than one that ignores its uncertainty;
 * - `too-alike`: closer together than the variances allow even for tau^2 = 0, at the level of the intervals;
 * - `no-scatter`: the studies fit the means exactly, so that without a floor the standard errors are 0;
 * - `carried-by-few`: the weights are worth those of fewer than half as many equal studies (1 / sum of squared shares).
 *   Should tau^2 be larger than estimated, every interval of the weighted mean is far too short then (docs/validation.md);
 *   trust the mean with equal weights;
 * - `several-modes`: the likelihood of tau^2 has more than one maximum; the highest was taken.
 */
export type PoolingWarning =
  | 'one-degree-of-freedom'
  | 'floor-applied'
  | 'shorter-than-wald'
  | 'too-alike'
  | 'no-scatter'
  | 'carried-by-few'
  | 'several-modes';

/** The mean of the distribution of true means from which the studies come. Unit of the estimates. */
export interface RandomEffects extends EstimatedCoefficient {
  readonly studies: number;
  readonly level: number;
  /** How the standard error was made. */
  readonly errors: CoefficientErrors;
  readonly between: BetweenStudyVariance;
  readonly heterogeneity: Heterogeneity;
  /** For the true mean of a further study; null where it has no degree of freedom (two studies). */
  readonly prediction: PredictionInterval | null;
  /** Share of each study in the mean, in the order given; they add up to 1. */
  readonly weights: readonly number[];
  /** The plain mean, whose interval needs no tau^2: the yardstick where weights are very uneven. */
  readonly equalWeights: EqualWeightsMean;
  readonly warnings: readonly PoolingWarning[];
}

/**
 * Random-effects mean: weights 1 / (variance + tau^2). By default tau^2 by restricted maximum likelihood (Veroniki and
 * others 2016) and Hartung and Knapp's interval with the floor.
 * Sources: DerSimonian and Laird 1986; Hartung and Knapp 2001; Viechtbauer 2005; Röver, Knapp and Friede 2015.
 *
 * @returns a refusal for columns of different length, estimates or variances that are no proper numbers, and fewer than
 *   two studies: one study says nothing about the differences between studies
 */
export function randomEffects(
  studies: StudyEffects,
  options: PoolingOptions = {},
): RandomEffects | StudiesRefusal {
  const { level = 0.95, predictionDegrees = 'studies-minus-two' } = options;
  const wrong =
    checkStudies(studies, { studies: 2, for: 'for a random-effects mean; pool with one common effect' }) ??
    checkLevel(level);
  if (wrong !== null) return wrong;
  const equalWeights = equalWeightsMean(studies.estimate, { level });
  if (isRefusal(equalWeights)) return equalWeights;
  const model = oneMean(studies);
  const between = betweenStudyVariance(model, options.estimator ?? 'restricted-maximum-likelihood');
  const fit = regressionAt(model, between.tauSquared);
  const errors = coefficientErrors(model, fit, options.interval ?? 'hartung-knapp-floored');
  const mean = estimatedCoefficient(fit.coefficients[0] ?? NaN, fit.covariance[0] ?? NaN, errors, level);
  const heterogeneity = heterogeneityOf(model, between.tauSquared, level);
  const count = model.estimate.length;
  const weights = sharesOf(fit.weights);
  return {
    studies: count,
    level,
    ...mean,
    errors,
    between,
    heterogeneity,
    prediction: predictionInterval(mean, between.tauSquared, count, { degrees: predictionDegrees, level }),
    weights,
    equalWeights,
    warnings: poolingWarnings(errors, between, heterogeneity, weights),
  };
}

/** Warnings of a fit, in the order of their list. */
export function poolingWarnings(
  errors: CoefficientErrors,
  between: BetweenStudyVariance,
  heterogeneity: Heterogeneity,
  weights: readonly number[],
): PoolingWarning[] {
  const scatterIsSmall = errors.varianceFactor < 1 - 1e-9;
  const holds: Readonly<Record<PoolingWarning, boolean>> = {
    'one-degree-of-freedom': errors.degreesOfFreedom === 1,
    'floor-applied': errors.method === 'hartung-knapp-floored' && scatterIsSmall,
    'shorter-than-wald': errors.method === 'hartung-knapp' && scatterIsSmall,
    'too-alike': heterogeneity.tauSquaredInterval.tooAlike,
    'no-scatter': errors.factorInUse === 0,
    'carried-by-few': 2 * effectiveStudies(weights) < weights.length,
    'several-modes': (between.modes ?? 1) > 1,
  };
  return POOLING_WARNINGS.filter((warning) => holds[warning]);
}

const POOLING_WARNINGS: readonly PoolingWarning[] = [
  'one-degree-of-freedom',
  'floor-applied',
  'shorter-than-wald',
  'too-alike',
  'no-scatter',
  'carried-by-few',
  'several-modes',
];

/** The number of equally weighted studies whose mean would be as precise (Kish 1965, design effect of weights). */
function effectiveStudies(shares: readonly number[]): number {
  return 1 / shares.reduce((sum, share) => sum + share * share, 0);
}
