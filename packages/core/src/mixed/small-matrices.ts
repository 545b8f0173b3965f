/** Products of small dense row-major matrices. */

/** left (rows x inner) times right (inner x columns). */
export function multiply(
  left: Float64Array,
  right: Float64Array,
  rows: number,
  inner: number,
  columns: number,
): Float64Array {
  const product = new Float64Array(rows * columns);
  for (let i = 0; i < rows; i++) {
    for (let k = 0; k < inner; k++) {
      const factor = left[i * inner + k] ?? 0;
      if (factor === 0) continue;
      for (let j = 0; j < columns; j++) {
        product[i * columns + j] = (product[i * columns + j] ?? 0) + factor * (right[k * columns + j] ?? 0);
      }
    }
  }
  return product;
}

/** The transpose of a rows x columns matrix. */
export function transpose(matrix: Float64Array, rows: number, columns: number): Float64Array {
  const turned = new Float64Array(rows * columns);
  for (let i = 0; i < rows; i++) {
    for (let j = 0; j < columns; j++) turned[j * rows + i] = matrix[i * columns + j] ?? 0;
  }
  return turned;
}

/** left M left' for a rows x size matrix `left` and a symmetric size x size matrix M. */
export function sandwich(left: Float64Array, matrix: Float64Array, rows: number, size: number): Float64Array {
  return multiply(multiply(left, matrix, rows, size, size), transpose(left, rows, size), rows, size, rows);
}
