/**
 * Dense symmetric positive definite algebra for the small matrices of the models (a dozen rows at most).
 * Matrices are row-major Float64Arrays of `size * size` entries.
 */

/**
 * Cholesky factor L (lower triangle, L L' = matrix).
 * Returns null where the matrix is not positive definite to working precision.
 */
export function cholesky(matrix: Float64Array, size: number): Float64Array | null {
  const factor = new Float64Array(size * size);
  for (let row = 0; row < size; row++) {
    for (let column = 0; column <= row; column++) {
      let sum = at(matrix, row * size + column);
      for (let k = 0; k < column; k++) sum -= at(factor, row * size + k) * at(factor, column * size + k);
      if (row !== column) {
        factor[row * size + column] = sum / at(factor, column * size + column);
        continue;
      }
      // Relative to the diagonal: a pivot lost to rounding means a column that the others already explain.
      if (!(sum > 1e-13 * Math.abs(at(matrix, row * size + row)))) return null;
      factor[row * size + row] = Math.sqrt(sum);
    }
  }
  return factor;
}

/** Solves L x = b for a lower-triangular factor; overwrites and returns `b`. */
export function solveLower(factor: Float64Array, size: number, b: Float64Array): Float64Array {
  for (let row = 0; row < size; row++) {
    let sum = at(b, row);
    for (let k = 0; k < row; k++) sum -= at(factor, row * size + k) * at(b, k);
    b[row] = sum / at(factor, row * size + row);
  }
  return b;
}

/** Solves L' x = b for a lower-triangular factor; overwrites and returns `b`. */
export function solveUpper(factor: Float64Array, size: number, b: Float64Array): Float64Array {
  for (let row = size - 1; row >= 0; row--) {
    let sum = at(b, row);
    for (let k = row + 1; k < size; k++) sum -= at(factor, k * size + row) * at(b, k);
    b[row] = sum / at(factor, row * size + row);
  }
  return b;
}

/** Inverse of the matrix whose Cholesky factor is given. */
export function inverseFromCholesky(factor: Float64Array, size: number): Float64Array {
  const inverse = new Float64Array(size * size);
  for (let column = 0; column < size; column++) {
    const unit = new Float64Array(size);
    unit[column] = 1;
    const solution = solveUpper(factor, size, solveLower(factor, size, unit));
    for (let row = 0; row < size; row++) inverse[row * size + column] = at(solution, row);
  }
  return inverse;
}

/** The bilinear form left' M right. */
export function bilinear(left: ArrayLike<number>, matrix: Float64Array, right: ArrayLike<number>): number {
  const size = left.length;
  let total = 0;
  for (let row = 0; row < size; row++) {
    const weight = left[row] ?? 0;
    if (weight === 0) continue;
    for (let column = 0; column < size; column++) {
      total += weight * at(matrix, row * size + column) * (right[column] ?? 0);
    }
  }
  return total;
}

/** An entry that is known to exist. Reading past the end is a programming error and yields NaN, never a silent zero. */
function at(values: Float64Array, index: number): number {
  return values[index] ?? NaN;
}
