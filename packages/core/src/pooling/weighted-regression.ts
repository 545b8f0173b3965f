import { dot, inverseOfUpper, takeOff } from '../numeric';
import type { StudyEffects } from './studies';

/** Estimates of studies, their variances, and the columns that describe their true means. */
export interface EffectsModel {
  /** Estimates less `origin`, so that a level far from zero costs no digits. */
  readonly estimate: Float64Array;
  readonly variance: Float64Array;
  readonly origin: number;
  /** Columns of the design, each with one entry a study; they are independent. */
  readonly columns: readonly Float64Array[];
  /** Coefficients by which the columns add up to 1 in every row. */
  readonly ones: readonly number[];
}

/** Weighted least squares at given weights. With w the weights and X the columns, P = W - WX (X'WX)^-1 X'W. */
export interface WeightedRegression {
  /** Coefficients in the unit of the estimates, the origin put back. */
  readonly coefficients: Float64Array;
  /** (X'WX)^-1, row-major. */
  readonly covariance: Float64Array;
  /** log of the determinant of X'WX. */
  readonly logDeterminant: number;
  /** y'Py, the weighted sum of squared residuals: Cochran's Q where the weights are 1 / variance. */
  readonly squares: number;
  /** y'PPy, the sum of squared weighted residuals. */
  readonly squaresOfWeighted: number;
  /** Of each row, w (1 - leverage): the diagonal of P. */
  readonly diagonal: Float64Array;
  readonly weights: Float64Array;
  /** Sum of the squares of the columns' orthonormal components beyond the first: tests all columns but the first. */
  readonly squaresExplained: number;
}

/** Studies that share one mean. */
export function oneMean(studies: StudyEffects): EffectsModel {
  const ones = new Float64Array(studies.estimate.length).fill(1);
  return effectsModel(studies, [ones], [1]);
}

/** Studies whose means are described by columns that add up to 1 with the coefficients `ones`. */
export function effectsModel(
  { estimate, variance }: StudyEffects,
  columns: readonly Float64Array[],
  ones: readonly number[],
): EffectsModel {
  let low = Infinity;
  let high = -Infinity;
  for (let i = 0; i < estimate.length; i++) {
    low = Math.min(low, estimate[i] ?? NaN);
    high = Math.max(high, estimate[i] ?? NaN);
  }
  // The middle of the range, because it is exact where all estimates are equal.
  const origin = low / 2 + high / 2;
  return {
    estimate: Float64Array.from(estimate, (value) => value - origin),
    variance: Float64Array.from(variance),
    origin,
    columns,
    ones,
  };
}

/** Studies less columns: the degrees of freedom of the residuals. */
export function residualDegrees({ estimate, columns }: EffectsModel): number {
  return estimate.length - columns.length;
}

/** Weighted least squares with weights 1 / (variance + tau^2). */
export function regressionAt(model: EffectsModel, tauSquared: number): WeightedRegression {
  return weightedRegression(
    model,
    model.variance.map((variance) => 1 / (variance + tauSquared)),
  );
}

/**
 * Weighted least squares by orthonormal columns of the weighted design, made by Gram and Schmidt's method done twice.
 * Source: Golub and Van Loan 2013, sections 5.2 and 6.1.
 */
export function weightedRegression(model: EffectsModel, weights: Float64Array): WeightedRegression {
  const roots = weights.map(Math.sqrt);
  const size = model.columns.length;
  const triangle = new Float64Array(size * size);
  const basis: Float64Array[] = [];
  let logDeterminant = 0;
  for (const [j, column] of model.columns.entries()) {
    const rest = column.map((value, i) => value * (roots[i] ?? 0));
    takeOff(basis, rest).forEach((share, i) => (triangle[i * size + j] = share));
    const length = Math.sqrt(dot(rest, rest));
    triangle[j * size + j] = length;
    logDeterminant += 2 * Math.log(length);
    basis.push(rest.map((value) => value / length));
  }
  const residual = model.estimate.map((value, i) => value * (roots[i] ?? 0));
  const components = takeOff(basis, residual);
  const rests = leverageRests(basis, residual.length);
  const inverse = inverseOfUpper(triangle, size);
  return {
    coefficients: coefficientsOf(inverse, components, model),
    covariance: timesTransposed(inverse, size),
    logDeterminant,
    squares: dot(residual, residual),
    squaresOfWeighted: residual.reduce((sum, value, i) => sum + value * value * (weights[i] ?? 0), 0),
    diagonal: rests.map((rest, i) => rest * (weights[i] ?? 0)),
    weights,
    squaresExplained: components.slice(1).reduce((sum, value) => sum + value * value, 0),
  };
}

/**
 * 1 - leverage of each row. Where one study outweighs all others that difference loses its digits, yet multiplied by
 * the large weight it counts as much as those of the others. There (I - QQ')^2 = I - QQ' gives it from the other rows.
 */
function leverageRests(basis: readonly Float64Array[], rows: number): Float64Array {
  const rest = new Float64Array(rows);
  for (let i = 0; i < rows; i++) {
    const leverage = basis.reduce((sum, column) => sum + (column[i] ?? 0) ** 2, 0);
    rest[i] = leverage <= 0.5 ? 1 - leverage : squaredLinks(basis, i, rows) / leverage;
  }
  return rest;
}

/** Sum over the other rows of the squared entries of QQ' in one row. */
function squaredLinks(basis: readonly Float64Array[], row: number, rows: number): number {
  let sum = 0;
  for (let other = 0; other < rows; other++) {
    if (other === row) continue;
    sum += basis.reduce((link, column) => link + (column[row] ?? 0) * (column[other] ?? 0), 0) ** 2;
  }
  return sum;
}

function coefficientsOf(inverse: Float64Array, components: Float64Array, model: EffectsModel): Float64Array {
  const size = components.length;
  return components.map((_, row) => {
    let sum = model.origin * (model.ones[row] ?? 0);
    for (let k = row; k < size; k++) sum += (inverse[row * size + k] ?? 0) * (components[k] ?? 0);
    return sum;
  });
}

/** M M' of a square matrix. */
function timesTransposed(matrix: Float64Array, size: number): Float64Array {
  const result = new Float64Array(size * size);
  for (let row = 0; row < size; row++) {
    for (let column = 0; column < size; column++) {
      result[row * size + column] = dot(
        matrix.subarray(row * size, (row + 1) * size),
        matrix.subarray(column * size, (column + 1) * size),
      );
    }
  }
  return result;
}
