import { cholesky, inverseFromCholesky, solveLower, solveUpper } from '../numeric';
import type { CrossProducts } from './cross-products';
import { eliminateGroups, eliminatorOf, type Elimination } from './elimination';
import type { MixedModel } from './mixed-model';
import type { RelativeFactors } from './relative-factor';
import { multiply } from './small-matrices';

/** The criterion at one pair of relative factors, with what follows from it. */
export interface DevianceValue {
  /** Minus twice the (restricted) log-likelihood, all constants included. */
  readonly deviance: number;
  /** Residual variance: the known one, or the best one at these factors. */
  readonly variance: number;
  /** Weighted residual sum of squares, r' V^-1 r with V in units of the residual variance. */
  readonly sumOfSquares: number;
  /** n for full, n - p for restricted maximum likelihood. */
  readonly degrees: number;
  /** Coefficients on Q of the residuals of least squares, and (Q' V^-1 Q)^-1, p x p. */
  readonly shift: Float64Array;
  readonly inverseInformation: Float64Array;
}

/** The same with derivatives. */
export interface DevianceSlope extends DevianceValue {
  /** Derivatives of the deviance by every entry of the factors, row-major. */
  readonly slope: RelativeFactors;
  /** Sums over groups of b b' for the pairs of rows of B = Z' V^-1 [Q y]; see `Elimination`. */
  readonly spread: { readonly random: Float64Array; readonly outer: Float64Array };
}

/** The criterion of one model as a function. */
export interface Criterion {
  readonly model: MixedModel;
  readonly restricted: boolean;
  value(factors: RelativeFactors, variance: number | null): DevianceValue | null;
  slope(factors: RelativeFactors, variance: number | null): DevianceSlope | null;
}

/**
 * The deviance of y = X b + Z u + C v + e. The random effects of one group after another, then those of the outer
 * groups are eliminated from the normal equations; fixed effects are always profiled out, the residual
 * variance unless it is given. Null where factors are so large that the normal equations break down.
 * Sources: Bates, Maechler, Bolker and Walker 2015, section 3 (criterion); Wolfinger, Tobias and Sall 1994
 * (derivatives).
 */
export function criterionOf(model: MixedModel, criterion: 'REML' | 'ML'): Criterion {
  const restricted = criterion === 'REML';
  const eliminator = eliminatorOf(model.products);
  const evaluate = (factors: RelativeFactors, variance: number | null, slopes: boolean) => {
    const elimination = eliminateGroups(eliminator, factors, slopes);
    if (elimination === null) return null;
    const value = valueOf(model, restricted, elimination, variance);
    return value === null ? null : { elimination, value };
  };
  return {
    model,
    restricted,
    value: (factors, variance) => evaluate(factors, variance, false)?.value ?? null,
    slope(factors, variance) {
      const found = evaluate(factors, variance, true);
      if (found === null) return null;
      const { elimination, value } = found;
      return {
        ...value,
        slope: slopeOf(model.products, restricted, factors, elimination, value),
        spread: { random: elimination.randomSpread, outer: elimination.outerSpread },
      };
    },
  };
}

function valueOf(
  model: MixedModel,
  restricted: boolean,
  elimination: Elimination,
  given: number | null,
): DevianceValue | null {
  const { p, responses } = model.products;
  const side = p + 1;
  const information = new Float64Array(p * p);
  const right = new Float64Array(p);
  for (let i = 0; i < p; i++) {
    for (let j = 0; j <= i; j++) {
      information[i * p + j] = elimination.normal[i * side + j] ?? NaN;
      information[j * p + i] = information[i * p + j] ?? NaN;
    }
    right[i] = elimination.normal[p * side + i] ?? NaN;
  }
  const factor = cholesky(information, p);
  if (factor === null) return null;
  const half = solveLower(factor, p, right);
  let sumOfSquares = elimination.normal[p * side + p] ?? NaN;
  for (const entry of half) sumOfSquares -= entry * entry;
  const degrees = restricted ? responses - p : responses;
  const variance = given ?? sumOfSquares / degrees;
  if (!(variance > 0) || !(sumOfSquares > 0)) return null;
  let deviance =
    elimination.logDeterminant -
    model.logWeights +
    degrees * Math.log(2 * Math.PI * variance) +
    sumOfSquares / variance;
  if (restricted) {
    for (let i = 0; i < p; i++) {
      deviance += 2 * Math.log((factor[i * p + i] ?? NaN) * (model.triangle[i * p + i] ?? NaN));
    }
  }
  return {
    deviance,
    variance,
    sumOfSquares,
    degrees,
    shift: solveUpper(factor, p, half.slice()),
    inverseInformation: inverseFromCholesky(factor, p),
  };
}

function slopeOf(
  products: CrossProducts,
  restricted: boolean,
  factors: RelativeFactors,
  elimination: Elimination,
  value: DevianceValue,
): RelativeFactors {
  const side = products.p + 1;
  const weights = spreadWeights(value, restricted, side);
  const termSlope = (size: number, spread: Float64Array, trace: Float64Array, factor: Float64Array) => {
    // Derivative by the covariance G is trace - sum b b' weighted; by its factor L, twice that times L.
    const pull = pairTraces(spread, weights, size, side);
    const pulled = multiply(pull, factor, size, size, size);
    return trace.map((entry, i) => 2 * (entry - (pulled[i] ?? 0)));
  };
  return {
    random: termSlope(products.q, elimination.randomSpread, elimination.randomTrace, factors.random),
    outer: termSlope(products.r, elimination.outerSpread, elimination.outerTrace, factors.outer),
  };
}

/** w w' / variance with w = (-shift, 1), plus the inverse information for the restricted criterion. */
function spreadWeights(value: DevianceValue, restricted: boolean, side: number): Float64Array {
  const p = side - 1;
  const weights = new Float64Array(side * side);
  for (let i = 0; i < side; i++) {
    const left = i === p ? 1 : -(value.shift[i] ?? 0);
    for (let j = 0; j < side; j++) {
      const right = j === p ? 1 : -(value.shift[j] ?? 0);
      weights[i * side + j] = (left * right) / value.variance;
      if (restricted && i < p && j < p) {
        weights[i * side + j] = (weights[i * side + j] ?? 0) + (value.inverseInformation[i * p + j] ?? 0);
      }
    }
  }
  return weights;
}

/**
 * For each pair of random effects (a, b) the trace of its spread with symmetric weights: a symmetric size x size matrix.
 * Spreads hold lower triangles, pairs in the order (0,0), (1,0), (1,1), (2,0) and so on.
 */
export function pairTraces(
  spread: Float64Array,
  weights: Float64Array,
  size: number,
  side: number,
): Float64Array {
  const traces = new Float64Array(size * size);
  let start = 0;
  for (let a = 0; a < size; a++) {
    for (let b = 0; b <= a; b++) {
      let sum = 0;
      for (let i = 0; i < side; i++) {
        for (let j = 0; j <= i; j++) {
          const twice = i === j ? 1 : 2;
          sum += twice * (spread[start + i * side + j] ?? 0) * (weights[i * side + j] ?? 0);
        }
      }
      traces[a * size + b] = sum;
      traces[b * size + a] = sum;
      start += side * side;
    }
  }
  return traces;
}
