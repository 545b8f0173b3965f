import { rootBetween } from '../numeric';
import {
  regressionAt,
  residualDegrees,
  weightedRegression,
  type EffectsModel,
  type WeightedRegression,
} from './weighted-regression';

/** The highest point of the likelihood in tau^2 >= 0. */
export interface HighestMode {
  readonly tauSquared: number;
  readonly logLikelihood: number;
  /** Number of local maxima, the end at 0 among them where the likelihood falls from there. */
  readonly modes: number;
}

/** Steps of the scan, in the logarithm of tau^2 plus the smallest variance: the likelihood has no finer features. */
const SCAN_STEP = 0.15;

/**
 * The global maximum of the (restricted) likelihood of tau^2. It may have several local ones, so the derivative is
 * scanned over all tau^2 at which it can be zero, and every change of its sign from plus to minus is a maximum.
 * Two roots between neighbouring points of the scan can hide only a maximum that is lower than the one kept.
 * Source of the likelihoods: Viechtbauer 2005; Raudenbush 2009.
 */
export function highestMode(model: EffectsModel, restricted: boolean): HighestMode {
  const smallest = model.variance.reduce((least, value) => Math.min(least, value), Infinity);
  const derivative = (tauSquared: number): number => score(regressionAt(model, tauSquared), restricted);
  const end = endOfScan(model, smallest);
  const steps = Math.ceil(Math.log1p(end / smallest) / SCAN_STEP);
  let before = { tauSquared: 0, score: derivative(0) };
  const places = before.score <= 0 ? [0] : [];
  for (let step = 1; step <= steps; step++) {
    const tauSquared = smallest * Math.expm1(step * SCAN_STEP);
    const here = { tauSquared, score: derivative(tauSquared) };
    if (before.score > 0 && here.score <= 0) {
      const tolerance = 1e-15 * (smallest + before.tauSquared);
      places.push(rootBetween(derivative, before.tauSquared, tauSquared, tolerance) ?? tauSquared);
    }
    before = here;
  }
  const heights = places.map((place) => logLikelihood(model, place, restricted));
  const highest = Math.max(...heights);
  return { tauSquared: places[heights.indexOf(highest)] ?? 0, logLikelihood: highest, modes: places.length };
}

/** Derivative of the log-likelihood in tau^2: half of y'PPy - trace of P, or of y'PPy - sum of weights. */
function score({ squaresOfWeighted, diagonal, weights }: WeightedRegression, restricted: boolean): number {
  const expected = (restricted ? diagonal : weights).reduce((sum, value) => sum + value, 0);
  return (squaresOfWeighted - expected) / 2;
}

/**
 * A tau^2 from which on the derivative is negative. With S the unweighted sum of squares, m the degrees of freedom and
 * a and b the smallest and largest variance plus tau^2, y'PPy <= S / a^2 and the trace is at least m / b.
 */
function endOfScan(model: EffectsModel, smallest: number): number {
  const unweighted = weightedRegression(model, new Float64Array(model.estimate.length).fill(1)).squares;
  const spread = unweighted / residualDegrees(model);
  const difference = model.variance.reduce((most, value) => Math.max(most, value), 0) - smallest;
  return Math.max(0, spread / 2 + Math.sqrt(spread * (spread / 4 + difference)) - smallest) + smallest;
}

function logLikelihood(model: EffectsModel, tauSquared: number, restricted: boolean): number {
  const { squares, logDeterminant } = regressionAt(model, tauSquared);
  const logVariances = model.variance.reduce((sum, variance) => sum + Math.log(variance + tauSquared), 0);
  const full = model.estimate.length * Math.log(2 * Math.PI) + logVariances + squares;
  if (!restricted) return -full / 2;
  const ones = new Float64Array(model.estimate.length).fill(1);
  const scale = model.columns.length * Math.log(2 * Math.PI) + weightedRegression(model, ones).logDeterminant;
  return -(full - scale + logDeterminant) / 2;
}
