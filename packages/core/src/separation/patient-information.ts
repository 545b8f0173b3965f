import type { Covariance } from './two-part-model';

/** Variances at which information is weighed: between patients and around a patient's own course, unit squared. */
export interface VarianceComponents {
  readonly betweenPatients: Covariance;
  readonly residualVariance: number;
}

/** What one patient's gains say about T and S: X' V^-1 X as a symmetric 2 x 2 matrix. */
export type Information = Covariance;

/** Sums over one patient's gains of 1, x and x^2. */
export interface RegressorSums {
  readonly count: number;
  readonly sum: number;
  readonly squares: number;
}

/** The sums of a patient's regressor values; a further visit is a further value. */
export function regressorSums(values: Iterable<number>): RegressorSums {
  let count = 0;
  let sum = 0;
  let squares = 0;
  for (const value of values) {
    count++;
    sum += value;
    squares += value * value;
  }
  return { count, sum, squares };
}

/**
 * How one patient weighs a column that goes along with the gains: X' V^-1 y from X' y, for X = Z = [1, x] and
 * V = Z G Z' + s^2 I. By the Woodbury identity only 2 x 2 matrices are needed, and G may be singular:
 * X' V^-1 y = (I + Z'Z G / s^2)^-1 X' y / s^2.
 *
 * @returns the function that weighs (sum of y, sum of x y)
 */
export function weighing(
  { count, sum, squares }: RegressorSums,
  { betweenPatients: g, residualVariance }: VarianceComponents,
): (plain: number, timesRegressor: number) => readonly [lasting: number, passing: number] {
  const s = residualVariance;
  // Rows of I + Z'Z G / s^2.
  const a = 1 + (count * g.lasting + sum * g.both) / s;
  const b = (count * g.both + sum * g.passing) / s;
  const c = (sum * g.lasting + squares * g.both) / s;
  const d = 1 + (sum * g.both + squares * g.passing) / s;
  const determinant = (a * d - b * c) * s;
  return (plain, timesRegressor) => [
    (d * plain - b * timesRegressor) / determinant,
    (a * timesRegressor - c * plain) / determinant,
  ];
}

/** The information of one patient, from the sums of the regressor. */
export function patientInformation(sums: RegressorSums, components: VarianceComponents): Information {
  const weigh = weighing(sums, components);
  const [lasting, both] = weigh(sums.count, sums.sum);
  const [, passing] = weigh(sums.sum, sums.squares);
  return { lasting, both, passing };
}

/** The sum of two informations; `times` -1 takes the second away. */
export function addInformation(left: Information, right: Information, times = 1): Information {
  return {
    lasting: left.lasting + times * right.lasting,
    both: left.both + times * right.both,
    passing: left.passing + times * right.passing,
  };
}

/** The inverse of an information: the covariance of the estimates. Null where it cannot be inverted. */
export function inverseInformation({ lasting, both, passing }: Information): Covariance | null {
  const determinant = lasting * passing - both * both;
  if (!(determinant > 1e-14 * lasting * passing)) return null;
  return { lasting: passing / determinant, both: -both / determinant, passing: lasting / determinant };
}
