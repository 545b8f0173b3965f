import { cholesky, inverseFromCholesky, solveLower } from '../../numeric';
import type { CoxRows } from './cox-rows';
import { rowResiduals } from './row-residuals';
import type { CoxTies } from './risk-sets';

/** Which cluster each row belongs to, rows as given; each row its own where there are none. */
export interface Clusters {
  readonly count: number;
  readonly numbers: Uint32Array;
}

/** Numbers the clusters in the order in which they are met. */
export function numberedClusters(labels: ArrayLike<string | number> | null, rows: number): Clusters {
  const numbers = new Uint32Array(rows);
  if (labels === null) {
    for (let row = 0; row < rows; row++) numbers[row] = row;
    return { count: rows, numbers };
  }
  const known = new Map<string | number, number>();
  for (let row = 0; row < rows; row++) {
    const label = labels[row] ?? NaN;
    const number = known.get(label) ?? known.size;
    known.set(label, number);
    numbers[row] = number;
  }
  return { count: known.size, numbers };
}

/** Weighted score residuals added up within each cluster, `clusters * columns`, for standardised covariates. */
export function clusterScores(
  rows: CoxRows,
  coefficients: ArrayLike<number>,
  ties: CoxTies,
  clusters: Clusters,
): Float64Array {
  const { score } = rowResiduals(rows, coefficients, ties);
  const { columns, order, weight } = rows;
  const sums = new Float64Array(clusters.count * columns);
  for (let k = 0; k < rows.rows; k++) {
    const to = (clusters.numbers[order[k] ?? 0] ?? 0) * columns;
    for (let j = 0; j < columns; j++) {
      sums[to + j] = (sums[to + j] ?? 0) + (weight[k] ?? 0) * (score[k * columns + j] ?? 0);
    }
  }
  return sums;
}

/** Sum over clusters of s s', row-major. */
export function crossProducts(scores: Float64Array, columns: number): Float64Array {
  const product = new Float64Array(columns * columns);
  for (let from = 0; from < scores.length; from += columns) {
    for (let j = 0; j < columns; j++) {
      for (let i = 0; i < columns; i++) {
        const cell = j * columns + i;
        product[cell] = (product[cell] ?? 0) + (scores[from + j] ?? 0) * (scores[from + i] ?? 0);
      }
    }
  }
  return product;
}

/**
 * The sandwich V (sum s s') V with V the inverse information and s the score residuals of each cluster, with no
 * correction for few clusters. Sources: Lin and Wei 1989; Lee, Wei and Amato 1992.
 */
export function sandwich(inverseInformation: Float64Array, meat: Float64Array, size: number): Float64Array {
  return multiply(multiply(inverseInformation, meat, size), inverseInformation, size);
}

function multiply(left: Float64Array, right: Float64Array, size: number): Float64Array {
  const product = new Float64Array(size * size);
  for (let row = 0; row < size; row++) {
    for (let column = 0; column < size; column++) {
      let sum = 0;
      for (let k = 0; k < size; k++) sum += (left[row * size + k] ?? 0) * (right[k * size + column] ?? 0);
      product[row * size + column] = sum;
    }
  }
  return product;
}

/** u' M^-1 u; null where M is singular. */
export function quadraticForm(matrix: Float64Array, vector: ArrayLike<number>): number | null {
  const size = vector.length;
  const factor = cholesky(matrix, size);
  if (factor === null) return null;
  const half = solveLower(factor, size, Float64Array.from(vector));
  return half.reduce((sum, value) => sum + value * value, 0);
}

/** The inverse; null where the matrix is singular. */
export function inverse(matrix: Float64Array, size: number): Float64Array | null {
  const factor = cholesky(matrix, size);
  return factor === null ? null : inverseFromCholesky(factor, size);
}
