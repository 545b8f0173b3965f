import { normalQuantile, studentQuantile } from '../numeric';
import { groupStates, type GroupStates } from './group-states';
import { factorsAt, freeEntries, type MixedFit } from './linear-mixed-model';
import type { MixedModel } from './mixed-model';
import { varianceKnowledge } from './satterthwaite';

/** Predictions at one pair of relative factors: values, and variances of prediction errors over the residual variance. */
export interface Predicted {
  readonly values: Float64Array;
  readonly relativeVariances: Float64Array;
}

/** How far off predictions may be, with the variance parameters estimated. */
export interface PredictionUncertainty {
  readonly value: number;
  /** Root of the mean squared error of prediction. */
  readonly error: number;
  /** Satterthwaite's degrees of freedom of that error; null: as good as infinitely many. */
  readonly df: number | null;
}

/**
 * Mean squared errors of predictions with estimated variance parameters: the error with the variances known, plus
 * twice the variance that their estimation adds to the prediction, once for itself and once because the first
 * part, at estimates, is too small by about as much. The added variance is that given the data, by the delta method.
 * Degrees of freedom as Satterthwaite's, from the variance of the first part.
 * Sources: Kackar and Harville 1984; Prasad and Rao 1990; Booth and Hobert 1998 (given the data).
 */
export function predictionUncertainty(
  model: MixedModel,
  fit: MixedFit,
  predict: (states: GroupStates) => Predicted,
): PredictionUncertainty[] | null {
  const states = groupStates(model, fit);
  const knowledge = varianceKnowledge(model, fit);
  if (states === null || knowledge === null) return null;
  const here = predict(states);
  const slopes = slopesByFactors(model, fit, predict);
  if (slopes === null) return null;
  const variance = fit.residualSd ** 2;
  const own = slopes.length;
  const size = fit.residualKnown ? own : own + 1;
  const covariance = (i: number, j: number): number => knowledge.covariance[i * size + j] ?? 0;
  return Array.from(here.values, (value, target) => {
    const relative = here.relativeVariances[target] ?? NaN;
    const byFactors = slopes.map((slope) => variance * (slope.relativeVariances[target] ?? 0));
    const gradient = fit.residualKnown ? byFactors : [...byFactors, 2 * fit.residualSd * relative];
    let varianceOfVariance = 0;
    let added = 0;
    for (let i = 0; i < size; i++) {
      for (let j = 0; j < size; j++) {
        varianceOfVariance += (gradient[i] ?? 0) * (gradient[j] ?? 0) * covariance(i, j);
        // Given the factors a prediction does not depend on the residual variance.
        added += (slopes[i]?.values[target] ?? 0) * (slopes[j]?.values[target] ?? 0) * covariance(i, j);
      }
    }
    const known = variance * relative;
    const df = known > 0 ? (2 * known ** 2) / varianceOfVariance : Infinity;
    return { value, error: Math.sqrt(known + 2 * added), df: df < MANY ? Math.max(1, df) : null };
  });
}

/** From here on Student's t is the normal distribution to all digits. */
const MANY = 1e9;

/** The two-sided multiplier of an error with these degrees of freedom. */
export function multiplierOf(level: number, df: number | null): number {
  return df === null ? normalQuantile((1 + level) / 2) : studentQuantile((1 + level) / 2, df);
}

/** Derivatives of predictions by each free entry of the factors, by central differences. */
function slopesByFactors(
  model: MixedModel,
  fit: MixedFit,
  predict: (states: GroupStates) => Predicted,
): Predicted[] | null {
  const point = freeEntries(model, fit.factors);
  const slopes: Predicted[] = [];
  for (let i = 0; i < point.length; i++) {
    const h = 1e-4 * Math.max(0.1, Math.abs(point[i] ?? 0));
    const [up, down] = [h, -h].map((shift) => {
      const moved = point.slice();
      moved[i] = (moved[i] ?? 0) + shift;
      const states = groupStates(model, fit, factorsAt(model, moved));
      return states === null ? null : predict(states);
    });
    if (up == null || down == null) return null;
    const slope = (above: Float64Array, below: Float64Array): Float64Array =>
      above.map((entry, k) => (entry - (below[k] ?? NaN)) / (2 * h));
    slopes.push({
      values: slope(up.values, down.values),
      relativeVariances: slope(up.relativeVariances, down.relativeVariances),
    });
  }
  return slopes;
}
