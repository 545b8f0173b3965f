/** Columns of a design as orthonormal columns times a triangle: design = Q T. */
export interface OrthonormalColumns {
  /** The columns of Q, each of length n. */
  readonly columns: readonly Float64Array[];
  /** T, upper triangle, row-major k x k. */
  readonly triangle: Float64Array;
}

/** A column whose part that the others don't explain is smaller than this share of it is taken to be redundant. */
const REDUNDANT = 1e-10;

/**
 * Orthonormal columns by Gram and Schmidt's method, done twice for full accuracy, so that a covariate far from
 * zero (a calendar year) costs no digits. Two columns that are never both nonzero keep that property.
 * Source: Golub and Van Loan 2013, section 5.2.
 *
 * @returns the number of the first column that the earlier ones explain (or that is zero), where there is one
 */
export function orthonormalColumns(columns: readonly Float64Array[]): OrthonormalColumns | number {
  const size = columns.length;
  const triangle = new Float64Array(size * size);
  const orthonormal: Float64Array[] = [];
  for (const [j, column] of columns.entries()) {
    const rest = column.slice();
    const length = norm(rest);
    for (let pass = 0; pass < 2; pass++) {
      for (const [i, earlier] of orthonormal.entries()) {
        const share = dot(earlier, rest);
        if (share === 0) continue;
        triangle[i * size + j] = (triangle[i * size + j] ?? 0) + share;
        for (let row = 0; row < rest.length; row++)
          rest[row] = (rest[row] ?? 0) - share * (earlier[row] ?? 0);
      }
    }
    const own = norm(rest);
    if (!(own > REDUNDANT * length)) return j;
    triangle[j * size + j] = own;
    for (let row = 0; row < rest.length; row++) rest[row] = (rest[row] ?? 0) / own;
    orthonormal.push(rest);
  }
  return { columns: orthonormal, triangle };
}

/** Takes the part that orthonormal columns explain off a vector, in place, and returns its coefficients. */
export function takeOff(columns: readonly Float64Array[], vector: Float64Array): Float64Array {
  const coefficients = new Float64Array(columns.length);
  for (let pass = 0; pass < 2; pass++) {
    for (const [i, column] of columns.entries()) {
      const share = dot(column, vector);
      coefficients[i] = (coefficients[i] ?? 0) + share;
      for (let row = 0; row < vector.length; row++) {
        vector[row] = (vector[row] ?? 0) - share * (column[row] ?? 0);
      }
    }
  }
  return coefficients;
}

/** Euclidean length. */
export function norm(vector: Float64Array): number {
  return Math.sqrt(dot(vector, vector));
}

/** Sum of products. */
export function dot(left: Float64Array, right: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < left.length; i++) sum += (left[i] ?? 0) * (right[i] ?? 0);
  return sum;
}

/** Inverse of an upper triangle, row-major. */
export function inverseOfUpper(triangle: Float64Array, size: number): Float64Array {
  const inverse = new Float64Array(size * size);
  for (let column = 0; column < size; column++) {
    for (let row = column; row >= 0; row--) {
      let sum = row === column ? 1 : 0;
      for (let k = row + 1; k <= column; k++) {
        sum -= (triangle[row * size + k] ?? 0) * (inverse[k * size + column] ?? 0);
      }
      inverse[row * size + column] = sum / (triangle[row * size + row] ?? NaN);
    }
  }
  return inverse;
}
