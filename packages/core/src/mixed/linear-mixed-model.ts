import { cholesky, inverseFromCholesky, minimise, solveLower, solveUpper } from '../numeric';

/** One patient's share of the data: `rows` responses, their fixed-effect rows and their random-effect rows. */
export interface MixedGroup {
  readonly response: readonly number[];
  /** One row a response, each with the model's p fixed-effect columns. */
  readonly fixed: readonly (readonly number[])[];
  /** One row a response, each with q = 1 (intercept) or 2 (intercept and slope) random-effect columns. */
  readonly random: readonly (readonly number[])[];
}

/** A fitted linear mixed model. Units follow the response and the columns. */
export interface MixedFit {
  readonly criterion: 'REML' | 'ML';
  /** Fixed effects, and their covariance as a row-major p x p matrix. */
  readonly coefficients: readonly number[];
  readonly covariance: Float64Array;
  /** Covariance of the random effects, row-major q x q. */
  readonly randomCovariance: readonly number[];
  readonly residualSd: number;
  /** Relative Cholesky factor of the random effects, lower triangle by rows: where a like model's search may start. */
  readonly relativeFactor: readonly number[];
  readonly logLikelihood: number;
  /** Akaike's criterion from the log-likelihood of the criterion used; p + q(q+1)/2 + 1 parameters. */
  readonly aic: number;
  readonly groups: number;
  readonly responses: number;
  /** A random-effect variance is zero, or two random effects are perfectly correlated. */
  readonly singular: boolean;
  readonly converged: boolean;
}

/** Why a model could not be fitted. */
export interface MixedFailure {
  readonly failure: 'too-few-responses' | 'redundant-columns' | 'no-residual-variation';
}

/**
 * Fits y = X b + Z u + e with one random vector u ~ N(0, G) a group and e ~ N(0, sigma^2), by restricted or
 * full maximum likelihood. The likelihood is profiled down to the relative Cholesky factor of G, so that only
 * one or three numbers are searched; each evaluation costs one pass over the groups' cross-products and does
 * not depend on the number of visits.
 * Source: Bates, Maechler, Bolker and Walker 2015 (profiled deviance); Laird and Ware 1982 (model).
 */
export function fitLinearMixedModel(
  groups: readonly MixedGroup[],
  options: { readonly criterion: 'REML' | 'ML'; readonly start?: readonly number[] },
): MixedFit | MixedFailure {
  const products = crossProducts(groups);
  const { p, q, responses } = products;
  if (responses <= p + q) return { failure: 'too-few-responses' };
  const zero = new Array<number>((q * (q + 1)) / 2).fill(0);
  const alone = profile(products, zero, options.criterion);
  if (alone === null) return { failure: 'redundant-columns' };
  // Differences of sums of squares are exact to some 1e-16 of the total; less than this is rounding, not variation.
  if (!(alone.residualSumOfSquares > 1e-12 * products.yy)) return { failure: 'no-residual-variation' };

  const objective = (theta: readonly number[]): number =>
    profile(products, theta, options.criterion)?.deviance ?? Number.MAX_VALUE;
  const starts = options.start === undefined ? STARTS[q - 1] : [options.start];
  // The deviance does not change with the sign of a column of the factor, so no bound is needed.
  const minimum = minimise(objective, starts ?? []);
  const best = profile(products, minimum.point, options.criterion);
  if (best === null) return { failure: 'redundant-columns' };

  const degrees = options.criterion === 'REML' ? responses - p : responses;
  const variance = best.residualSumOfSquares / degrees;
  const logLikelihood = -best.deviance / 2;
  return {
    criterion: options.criterion,
    coefficients: Array.from(solveUpper(best.factor, p, best.half)),
    covariance: inverseFromCholesky(best.factor, p).map((entry) => entry * variance),
    randomCovariance: randomCovariance(minimum.point, q).map((entry) => entry * variance),
    residualSd: Math.sqrt(variance),
    relativeFactor: minimum.point,
    logLikelihood,
    aic: -2 * logLikelihood + 2 * (p + zero.length + 1),
    groups: groups.length,
    responses,
    singular: isSingular(minimum.point, q),
    converged: minimum.converged,
  };
}

const STARTS = [[[1]], [[1, 0, 0.3]]] as const;

interface CrossProducts {
  readonly p: number;
  readonly q: number;
  readonly responses: number;
  readonly xx: Float64Array;
  readonly xy: Float64Array;
  readonly yy: number;
  readonly groups: readonly GroupProducts[];
}

/** Cross-products of one group, over the fixed-effect columns that are not all zero in it. */
interface GroupProducts {
  readonly columns: Int32Array;
  readonly zz: Float64Array;
  /** One row a random effect. */
  readonly zx: Float64Array;
  readonly zy: Float64Array;
}

function crossProducts(groups: readonly MixedGroup[]): CrossProducts {
  const p = groups[0]?.fixed[0]?.length ?? 0;
  const q = groups[0]?.random[0]?.length ?? 1;
  const xx = new Float64Array(p * p);
  const xy = new Float64Array(p);
  let yy = 0;
  let responses = 0;
  const perGroup = groups.map((group) => {
    const used = Int32Array.from(usedColumns(group, p));
    const products = {
      columns: used,
      zz: new Float64Array(q * q),
      zx: new Float64Array(q * used.length),
      zy: new Float64Array(q),
    };
    group.response.forEach((y, row) => {
      const x = group.fixed[row] ?? [];
      const z = group.random[row] ?? [];
      responses++;
      yy += y * y;
      for (const i of used) {
        add(xy, i, (x[i] ?? 0) * y);
        for (const j of used) add(xx, i * p + j, (x[i] ?? 0) * (x[j] ?? 0));
      }
      for (let a = 0; a < q; a++) {
        add(products.zy, a, (z[a] ?? 0) * y);
        for (let b = 0; b < q; b++) add(products.zz, a * q + b, (z[a] ?? 0) * (z[b] ?? 0));
        used.forEach((i, position) =>
          add(products.zx, a * used.length + position, (z[a] ?? 0) * (x[i] ?? 0)),
        );
      }
    });
    return products;
  });
  return { p, q, responses, xx, xy, yy, groups: perGroup };
}

function usedColumns(group: MixedGroup, p: number): number[] {
  const used: number[] = [];
  for (let i = 0; i < p; i++) if (group.fixed.some((row) => (row[i] ?? 0) !== 0)) used.push(i);
  return used;
}

interface Profile {
  readonly deviance: number;
  readonly residualSumOfSquares: number;
  /** Cholesky factor of X' V^-1 X (in units of the residual variance), and that factor's solution of X' V^-1 y. */
  readonly factor: Float64Array;
  readonly half: Float64Array;
}

/** Profiled deviance at one relative Cholesky factor; null where the fixed-effect columns are redundant. */
function profile(
  products: CrossProducts,
  theta: readonly number[],
  criterion: 'REML' | 'ML',
): Profile | null {
  const { p, q, responses } = products;
  const information = products.xx.slice();
  const score = products.xy.slice();
  let sumOfSquares = products.yy;
  let logDeterminant = 0;
  const lambda = lowerTriangle(theta, q);
  for (const group of products.groups) {
    const inner = cholesky(innerMatrix(group.zz, lambda, q), q);
    if (inner === null) return null;
    for (let a = 0; a < q; a++) logDeterminant += 2 * Math.log(inner[a * q + a] ?? NaN);
    const y = reduce(inner, lambda, q, group.zy, 1);
    const x = reduce(inner, lambda, q, group.zx, group.columns.length);
    const width = group.columns.length;
    for (let a = 0; a < q; a++) {
      const ya = y[a] ?? 0;
      sumOfSquares -= ya * ya;
      for (let i = 0; i < width; i++) {
        const xi = x[a * width + i] ?? 0;
        const row = group.columns[i] ?? 0;
        add(score, row, -xi * ya);
        for (let j = 0; j < width; j++)
          add(information, row * p + (group.columns[j] ?? 0), -xi * (x[a * width + j] ?? 0));
      }
    }
  }
  const factor = cholesky(information, p);
  if (factor === null) return null;
  const half = solveLower(factor, p, score);
  for (const value of half) sumOfSquares -= value * value;
  const degrees = criterion === 'REML' ? responses - p : responses;
  let deviance = logDeterminant + degrees * (1 + Math.log((2 * Math.PI * sumOfSquares) / degrees));
  if (criterion === 'REML') for (let i = 0; i < p; i++) deviance += 2 * Math.log(factor[i * p + i] ?? NaN);
  return { deviance, residualSumOfSquares: sumOfSquares, factor, half };
}

/** Lambda' (Z'Z) Lambda + I. */
function innerMatrix(zz: Float64Array, lambda: Float64Array, q: number): Float64Array {
  const inner = new Float64Array(q * q);
  for (let a = 0; a < q; a++) {
    for (let b = 0; b < q; b++) {
      let sum = a === b ? 1 : 0;
      for (let i = 0; i < q; i++) {
        for (let j = 0; j < q; j++)
          sum += (lambda[i * q + a] ?? 0) * (zz[i * q + j] ?? 0) * (lambda[j * q + b] ?? 0);
      }
      inner[a * q + b] = sum;
    }
  }
  return inner;
}

/** L^-1 Lambda' M for a q x width matrix M. */
function reduce(
  inner: Float64Array,
  lambda: Float64Array,
  q: number,
  matrix: Float64Array,
  width: number,
): Float64Array {
  const reduced = new Float64Array(q * width);
  for (let column = 0; column < width; column++) {
    for (let a = 0; a < q; a++) {
      let sum = 0;
      for (let i = 0; i < q; i++) sum += (lambda[i * q + a] ?? 0) * (matrix[i * width + column] ?? 0);
      for (let k = 0; k < a; k++) sum -= (inner[a * q + k] ?? 0) * (reduced[k * width + column] ?? 0);
      reduced[a * width + column] = sum / (inner[a * q + a] ?? NaN);
    }
  }
  return reduced;
}

function lowerTriangle(theta: readonly number[], q: number): Float64Array {
  return q === 1
    ? Float64Array.of(theta[0] ?? 0)
    : Float64Array.of(theta[0] ?? 0, 0, theta[1] ?? 0, theta[2] ?? 0);
}

function randomCovariance(theta: readonly number[], q: number): number[] {
  const [a = 0, b = 0, c = 0] = theta;
  return q === 1 ? [a * a] : [a * a, a * b, a * b, b * b + c * c];
}

function isSingular(theta: readonly number[], q: number): boolean {
  const [a = 0, , c = 0] = theta;
  return Math.abs(a) < 1e-4 || (q === 2 && Math.abs(c) < 1e-4);
}

function add(values: Float64Array, index: number, amount: number): void {
  values[index] = (values[index] ?? NaN) + amount;
}
