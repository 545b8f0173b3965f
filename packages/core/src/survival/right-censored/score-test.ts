/** A chi-squared statistic. */
export interface ScoreTest {
  readonly chiSquared: number;
  /** Rank of the covariance: groups that can be told apart, less one for each set of them that was compared. */
  readonly degreesOfFreedom: number;
  /** The covariance has directions of negative variance, which an estimate with corrections for ties can have. */
  readonly indefinite: boolean;
}

/** A pivot that keeps less than this share of its variance is rounding: the group follows from those before it. */
const NOTHING_LEFT = 1e-10;

/** What is left where no pivot is, as a share of the largest variance, beyond which it is not rounding. */
const NOT_ROUNDING = 1e-8;

/**
 * The quadratic form u' V^- u of scores with a singular covariance, with its rank. Scores of k groups sum to zero, so
 * V has rank k - 1 at most; it has less where groups were never at risk together. Any generalised inverse gives the
 * same value; this is Cholesky's with pivoting. Source: Golub and Van Loan 2013, section 4.2.8.
 *
 * @param covariance row by row, symmetric, `scores.length` squared
 */
export function quadraticForm(scores: ArrayLike<number>, covariance: Float64Array): ScoreTest {
  const size = scores.length;
  const rest = Float64Array.from(covariance);
  const residual = Float64Array.from(scores);
  const left = new Set(Array.from({ length: size }, (_, i) => i));
  let chiSquared = 0;
  let degreesOfFreedom = 0;
  while (left.size > 0) {
    const pivot = [...left].reduce((best, i) =>
      shareLeft(rest, covariance, size, i) > shareLeft(rest, covariance, size, best) ? i : best,
    );
    if (!(shareLeft(rest, covariance, size, pivot) > NOTHING_LEFT)) break;
    left.delete(pivot);
    const variance = rest[pivot * size + pivot] ?? NaN;
    const score = residual[pivot] ?? NaN;
    chiSquared += (score * score) / variance;
    degreesOfFreedom++;
    for (const i of left) {
      const slope = (rest[i * size + pivot] ?? NaN) / variance;
      residual[i] = (residual[i] ?? NaN) - slope * score;
      for (const j of left) {
        rest[i * size + j] = (rest[i * size + j] ?? NaN) - slope * (rest[pivot * size + j] ?? NaN);
      }
    }
  }
  let largest = 0;
  for (let i = 0; i < size; i++) largest = Math.max(largest, Math.abs(covariance[i * size + i] ?? NaN));
  const indefinite = [...left].some((i) =>
    [...left].some((j) => Math.abs(rest[i * size + j] ?? NaN) > NOT_ROUNDING * largest),
  );
  return { chiSquared, degreesOfFreedom, indefinite };
}

function shareLeft(rest: Float64Array, covariance: Float64Array, size: number, i: number): number {
  const whole = covariance[i * size + i] ?? NaN;
  return whole > 0 ? (rest[i * size + i] ?? NaN) / whole : 0;
}

/** A square matrix as rows. */
export function asRows(matrix: Float64Array, size: number): number[][] {
  return Array.from({ length: size }, (_, i) => Array.from(matrix.subarray(i * size, (i + 1) * size)));
}
