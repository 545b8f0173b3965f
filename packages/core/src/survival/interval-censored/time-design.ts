import { inverseOfUpper, orthonormalColumns, type DesignMatrix } from '../../numeric';

/**
 * A design whose columns are orthogonal, each of mean square 1, so that a covariate far from zero (a calendar year) or
 * nearly a copy of another costs no digits. The first column, the intercept, stays as it is.
 */
export interface OrthogonalDesign extends DesignMatrix {
  /** Row by row, an upper triangle B: a coefficient of the design as given is B times those of this one. */
  readonly back: Float64Array;
  /** For each column of the design as given what its coefficient counts when steps are compared: 1, or its spread. */
  readonly spread: Float64Array;
  /** For each column of the design as given its mean where it is numeric, else 0. */
  readonly centre: Float64Array;
}

/** The same model with orthogonal columns. Names stay those of the design as given, whose columns are independent. */
export function orthogonalDesign(design: DesignMatrix): OrthogonalDesign {
  const { rows, columns, values, terms } = design;
  const given = Array.from({ length: columns }, (_, j) =>
    Float64Array.from({ length: rows }, (__, i) => values[i * columns + j] ?? NaN),
  );
  const orthonormal = orthonormalColumns(given);
  if (typeof orthonormal === 'number') throw new RangeError(`column ${orthonormal} depends on others`);
  const length = Math.sqrt(rows);
  const turned = new Float64Array(rows * columns);
  orthonormal.columns.forEach((column, j) =>
    column.forEach((value, i) => (turned[i * columns + j] = value * length)),
  );
  const spread = new Float64Array(columns).fill(1);
  const centre = new Float64Array(columns);
  for (const { firstColumn: j, levels } of terms) {
    const column = given[j];
    if (levels !== null || column === undefined) continue;
    const mean = column.reduce((sum, value) => sum + value / rows, 0);
    centre[j] = mean;
    spread[j] = Math.sqrt(column.reduce((sum, value) => sum + (value - mean) ** 2 / rows, 0));
  }
  const back = inverseOfUpper(orthonormal.triangle, columns).map((value) => value * length);
  return { ...design, values: turned, back, spread, centre };
}

/** Coefficients of the design as given. */
export function coefficientsBack({ back, columns }: OrthogonalDesign, turned: Float64Array): Float64Array {
  return Float64Array.from({ length: columns }, (_, j) => {
    let sum = 0;
    for (let k = j; k < columns; k++) sum += (back[j * columns + k] ?? 0) * (turned[k] ?? 0);
    return sum;
  });
}

/**
 * The covariance of the coefficients of the design as given, from that of the turned ones; both go on with log sigma,
 * which stays, where `size` is one more than the columns.
 */
export function covarianceBack(
  { back, columns }: OrthogonalDesign,
  covariance: Float64Array,
  size: number,
): Float64Array {
  const entry = (j: number, k: number): number =>
    j < columns && k < columns ? (back[j * columns + k] ?? 0) : j === k ? 1 : 0;
  const half = new Float64Array(size * size);
  const whole = new Float64Array(size * size);
  for (let j = 0; j < size; j++) {
    for (let k = 0; k < size; k++) {
      let sum = 0;
      for (let m = j; m < size; m++) sum += entry(j, m) * (covariance[m * size + k] ?? 0);
      half[j * size + k] = sum;
    }
  }
  for (let j = 0; j < size; j++) {
    for (let k = 0; k <= j; k++) {
      let sum = 0;
      for (let m = k; m < size; m++) sum += (half[j * size + m] ?? 0) * entry(k, m);
      whole[j * size + k] = whole[k * size + j] = sum;
    }
  }
  return whole;
}

/** A row of the design as given in the turned columns. */
export function rowTurned({ back, columns }: OrthogonalDesign, row: Float64Array): Float64Array {
  return Float64Array.from({ length: columns }, (_, k) => {
    let sum = 0;
    for (let j = 0; j <= k; j++) sum += (row[j] ?? 0) * (back[j * columns + k] ?? 0);
    return sum;
  });
}
