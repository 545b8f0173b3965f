import { devianceOfFactors, freeEntries, type MixedFit } from './linear-mixed-model';
import type { MixedModel } from './mixed-model';
import { criterionOf, pairTraces, type DevianceSlope } from './profiled-deviance';
import { multiply } from './small-matrices';
import { exactCurvature } from './smooth-minimum';
import { symmetricEigen } from './symmetric-eigen';

/** What degrees of freedom of contrasts are reckoned from: how well the variance parameters are known. */
export interface VarianceKnowledge {
  readonly model: MixedModel;
  readonly fit: MixedFit;
  readonly slope: DevianceSlope;
  /** Asymptotic covariance of the free entries of the factors and, where it is estimated, the residual standard deviation. */
  readonly covariance: Float64Array;
}

/**
 * Directions in which the deviance curves less than this share of its largest curvature count as not estimated, each
 * parameter measured by `parameterSizes`.
 */
const FLAT = 1e-8;

/**
 * Twice the inverse of the second derivatives of the deviance by the variance parameters at the fit. A component
 * at its bound (zero variance, perfect correlation) adds nothing: it is treated as known. Null where the fit has
 * no second derivatives.
 */
export function varianceKnowledge(model: MixedModel, fit: MixedFit): VarianceKnowledge | null {
  const criterion = criterionOf(model, fit.criterion);
  const variance = fit.residualSd ** 2;
  const slope = criterion.slope(fit.factors, variance);
  const point = freeEntries(model, fit.factors);
  const byFactors = exactCurvature(devianceOfFactors(criterion, variance), point);
  if (slope === null || byFactors === null) return null;
  const own = point.length;
  const size = fit.residualKnown ? own : own + 1;
  const curvature = new Float64Array(size * size);
  for (let i = 0; i < own; i++) {
    for (let j = 0; j < own; j++) curvature[i * size + j] = byFactors[i * own + j] ?? 0;
  }
  if (!fit.residualKnown) {
    const { degrees, sumOfSquares } = slope;
    const mixed = sumOfSquaresSlope(model, fit, slope);
    for (let i = 0; i < own; i++) {
      curvature[i * size + own] = (-2 * (mixed[i] ?? 0)) / fit.residualSd ** 3;
      curvature[own * size + i] = curvature[i * size + own] ?? 0;
    }
    curvature[size * size - 1] = (-2 * degrees) / variance + (6 * sumOfSquares) / variance ** 2;
  }
  return { model, fit, slope, covariance: twiceInverse(curvature, parameterSizes(model, fit)) };
}

/**
 * What a change of each parameter is measured by, so that the unit of the response plays no part: the residual standard
 * deviation itself, and for an entry of a factor the length of its row, at least 1.
 */
function parameterSizes(model: MixedModel, { factors, residualSd, residualKnown }: MixedFit): Float64Array {
  const rowLengths = (factor: Float64Array, size: number): Float64Array =>
    factor.map((_, at) => {
      const row = factor.subarray(at - (at % size), at - (at % size) + size);
      return Math.max(1, Math.hypot(...row));
    });
  const entries = freeEntries(model, {
    random: rowLengths(factors.random, model.products.q),
    outer: rowLengths(factors.outer, model.products.r),
  });
  return Float64Array.of(...entries, ...(residualKnown ? [] : [residualSd]));
}

/** Derivatives of the residual sum of squares r' V^-1 r by the free entries of the factors. */
function sumOfSquaresSlope(model: MixedModel, fit: MixedFit, slope: DevianceSlope): Float64Array {
  const { q, r, p } = model.products;
  const side = p + 1;
  const residual = Float64Array.from({ length: side }, (_, i) => (i === p ? 1 : -(slope.shift[i] ?? 0)));
  const weights = multiply(residual, residual, side, 1, side);
  const term = (size: number, spread: Float64Array, factor: Float64Array): Float64Array =>
    multiply(pairTraces(spread, weights, size, side), factor, size, size, size).map((entry) => -2 * entry);
  return freeEntries(model, {
    random: term(q, slope.spread.random, fit.factors.random),
    outer: term(r, slope.spread.outer, fit.factors.outer),
  });
}

function twiceInverse(curvature: Float64Array, sizes: Float64Array): Float64Array {
  const size = sizes.length;
  const scale = (i: number, j: number): number => (sizes[i] ?? NaN) * (sizes[j] ?? NaN);
  const scaled = curvature.map((entry, at) => entry * scale(Math.floor(at / size), at % size));
  const { values, vectors } = symmetricEigen(scaled, size);
  const largest = Math.max(...values.map(Math.abs));
  const inverse = new Float64Array(size * size);
  values.forEach((value, k) => {
    if (!(value > FLAT * largest)) return;
    const vector = vectors[k] ?? [];
    for (let i = 0; i < size; i++) {
      for (let j = 0; j < size; j++) {
        inverse[i * size + j] =
          (inverse[i * size + j] ?? 0) + (2 * scale(i, j) * (vector[i] ?? 0) * (vector[j] ?? 0)) / value;
      }
    }
  });
  return inverse;
}

/** Variance of a contrast and its degrees of freedom; null means as good as infinitely many. */
export interface ContrastPrecision {
  readonly variance: number;
  readonly df: number | null;
}

/**
 * The variance of the contrast sum(weights * coefficients) and Satterthwaite's degrees of freedom,
 * 2 v^2 / var(v), with var(v) by the delta method from the variance parameters.
 * Sources: Satterthwaite 1946; Giesbrecht and Burns 1985.
 */
export function contrastPrecision(
  { model, fit, slope, covariance }: VarianceKnowledge,
  weights: ArrayLike<number>,
): ContrastPrecision {
  const { q, r, p } = model.products;
  const side = p + 1;
  // On Q: c = T'^-1 weights, then C c with C the inverse information.
  const onQ = Float64Array.from({ length: p }, (_, i) => {
    let sum = 0;
    for (let j = 0; j < p; j++) sum += (model.inverseTriangle[j * p + i] ?? 0) * (weights[j] ?? 0);
    return sum;
  });
  const spreadOver = multiply(slope.inverseInformation, onQ, p, p, 1);
  const relative = spreadOver.reduce((sum, entry, i) => sum + entry * (onQ[i] ?? 0), 0);
  const padded = Float64Array.from({ length: side }, (_, i) => spreadOver[i] ?? 0);
  const pairs = multiply(padded, padded, side, 1, side);
  const variance = fit.residualSd ** 2 * relative;
  const term = (size: number, spread: Float64Array, factor: Float64Array): Float64Array =>
    multiply(pairTraces(spread, pairs, size, side), factor, size, size, size).map(
      (entry) => 2 * fit.residualSd ** 2 * entry,
    );
  const gradient = [
    ...freeEntries(model, {
      random: term(q, slope.spread.random, fit.factors.random),
      outer: term(r, slope.spread.outer, fit.factors.outer),
    }),
    ...(fit.residualKnown ? [] : [(2 * variance) / fit.residualSd]),
  ];
  let varianceOfVariance = 0;
  gradient.forEach((left, i) =>
    gradient.forEach((right, j) => {
      varianceOfVariance += left * right * (covariance[i * gradient.length + j] ?? 0);
    }),
  );
  const df = (2 * variance ** 2) / varianceOfVariance;
  return { variance, df: df < MANY ? df : null };
}

/** From here on Student's t is the normal distribution to all digits. */
const MANY = 1e9;
