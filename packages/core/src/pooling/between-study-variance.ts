import { highestMode } from './likelihood-of-tau';
import { tauSquaredWhere } from './q-profile';
import { regressionAt, residualDegrees, weightedRegression, type EffectsModel } from './weighted-regression';

/** How the variance of the true means between studies, tau^2, is estimated. */
export type TauEstimator =
  'restricted-maximum-likelihood' | 'maximum-likelihood' | 'paule-mandel' | 'dersimonian-laird' | 'hedges';

/** The estimated variance between studies, in the square of the estimates' unit. */
export interface BetweenStudyVariance {
  readonly estimator: TauEstimator;
  /** Never below 0. */
  readonly tauSquared: number;
  /** The height of the (restricted) log-likelihood there, with all its constants; null for the other estimators. */
  readonly logLikelihood: number | null;
  /** How many places the (restricted) likelihood has a maximum; the highest is taken. null for the other estimators. */
  readonly modes: number | null;
}

/**
 * tau^2 of studies around the means that the columns describe, by the estimator named.
 * - restricted maximum likelihood, maximum likelihood: Viechtbauer 2005; Raudenbush 2009;
 * - Paule and Mandel 1982: the tau^2 at which Q has its expectation, studies less columns;
 * - DerSimonian and Laird 1986: the method of moments with weights 1 / variance;
 * - Hedges 1983: the method of moments with equal weights.
 * The moment estimators in their form for any number of columns: DerSimonian and Kacker 2007; Raudenbush 2009.
 *
 * @param model has more studies than columns
 */
export function betweenStudyVariance(model: EffectsModel, estimator: TauEstimator): BetweenStudyVariance {
  if (estimator === 'restricted-maximum-likelihood' || estimator === 'maximum-likelihood') {
    return { estimator, ...highestMode(model, estimator === 'restricted-maximum-likelihood') };
  }
  return { estimator, tauSquared: momentEstimate(model, estimator), logLikelihood: null, modes: null };
}

function momentEstimate(
  model: EffectsModel,
  estimator: 'paule-mandel' | 'dersimonian-laird' | 'hedges',
): number {
  const degrees = residualDegrees(model);
  if (estimator === 'paule-mandel') return tauSquaredWhere(model, degrees);
  if (estimator === 'dersimonian-laird') {
    const { squares, diagonal } = regressionAt(model, 0);
    return Math.max(0, (squares - degrees) / sumOf(diagonal));
  }
  const { squares, diagonal } = weightedRegression(model, new Float64Array(model.estimate.length).fill(1));
  const within = diagonal.reduce((sum, rest, i) => sum + rest * (model.variance[i] ?? 0), 0);
  return Math.max(0, (squares - within) / degrees);
}

function sumOf(values: Float64Array): number {
  return values.reduce((sum, value) => sum + value, 0);
}
