/**
 * Symmetric positive definite systems whose rows reach only some way to the left of the diagonal (a skyline).
 * Factor and solution stay inside the same skyline. Source: George and Liu 1981, chapter 4.
 */
export interface Skyline {
  /** First column of each row that may be other than zero; at most the row itself. */
  readonly start: Int32Array;
  /** Where row r begins in `values`; column c of it stands at `offset[r] + c - start[r]`. */
  readonly offset: Float64Array;
  readonly values: Float64Array;
}

/** A skyline of zeros. */
export function emptySkyline(start: Int32Array): Skyline {
  const offset = new Float64Array(start.length);
  let total = 0;
  for (let row = 0; row < start.length; row++) {
    offset[row] = total;
    total += row - (start[row] ?? 0) + 1;
  }
  return { start, offset, values: new Float64Array(total) };
}

/** Multiplications a factorisation takes, roughly. */
export function factorWork(start: Int32Array): number {
  let work = 0;
  for (let row = 0; row < start.length; row++) work += (row - (start[row] ?? 0) + 1) ** 2 / 2;
  return work;
}

/**
 * Solves A x = b by the Cholesky factor, which overwrites `matrix`; `b` becomes x.
 * A pivot that rounding has eaten up is lifted to a small share of its diagonal, which keeps the step of an
 * optimiser finite where the likelihood is flat.
 */
export function solveSkyline(matrix: Skyline, b: Float64Array): void {
  const { start, offset, values } = matrix;
  for (let row = 0; row < b.length; row++) {
    const from = start[row] ?? 0;
    const rowAt = (offset[row] ?? 0) - from;
    for (let column = from; column < row; column++) {
      const other = start[column] ?? 0;
      const columnAt = (offset[column] ?? 0) - other;
      let sum = values[rowAt + column] ?? 0;
      for (let k = Math.max(from, other); k < column; k++) {
        sum -= (values[rowAt + k] ?? 0) * (values[columnAt + k] ?? 0);
      }
      values[rowAt + column] = sum / (values[columnAt + column] ?? 1);
    }
    const diagonal = values[rowAt + row] ?? 0;
    let pivot = diagonal;
    for (let k = from; k < row; k++) pivot -= (values[rowAt + k] ?? 0) ** 2;
    values[rowAt + row] = Math.sqrt(Math.max(pivot, LEAST_PIVOT * diagonal, Number.MIN_VALUE));
  }
  for (let row = 0; row < b.length; row++) {
    const from = start[row] ?? 0;
    const rowAt = (offset[row] ?? 0) - from;
    let sum = b[row] ?? 0;
    for (let k = from; k < row; k++) sum -= (values[rowAt + k] ?? 0) * (b[k] ?? 0);
    b[row] = sum / (values[rowAt + row] ?? 1);
  }
  for (let row = b.length - 1; row >= 0; row--) {
    const from = start[row] ?? 0;
    const rowAt = (offset[row] ?? 0) - from;
    const x = (b[row] ?? 0) / (values[rowAt + row] ?? 1);
    b[row] = x;
    for (let k = from; k < row; k++) b[k] = (b[k] ?? 0) - x * (values[rowAt + k] ?? 0);
  }
}

const LEAST_PIVOT = 1e-13;
