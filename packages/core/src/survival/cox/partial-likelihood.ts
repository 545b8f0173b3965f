import type { CoxRows } from './cox-rows';
import { linearPredictors, visitRiskSets, type CoxTies, type RiskSet } from './risk-sets';

/** The logarithm of the partial likelihood and its derivatives, for standardised covariates. */
export interface PartialLikelihood {
  readonly logLikelihood: number;
  /** First derivatives. */
  readonly score: Float64Array;
  /** Less the second derivatives, row-major. */
  readonly information: Float64Array;
}

/**
 * How the events of one time share its risk set: `parts` sums, each with the share `removed(part)` of the tied
 * events taken out and with the weight `partWeight` (the mean weight of the events, or the weight of all of them
 * where they are not told apart). Sources: Efron 1977; Breslow 1974; for weights Therneau and Grambsch 2000, 3.3.
 */
export function tiedParts(set: RiskSet, ties: CoxTies): { parts: number; partWeight: number } {
  const parts = ties === 'efron' ? set.events : 1;
  return { parts, partWeight: set.eventWeight / parts };
}

/**
 * The log partial likelihood at a place. Sources: Cox 1972; Efron 1977; Breslow 1974.
 *
 * @param coefficients on the scale of the standardised covariates
 */
export function partialLikelihood(
  rows: CoxRows,
  coefficients: ArrayLike<number>,
  ties: CoxTies,
): PartialLikelihood {
  const { columns, covariates, event, weight } = rows;
  const predictors = linearPredictors(rows, coefficients);
  const score = new Float64Array(columns);
  const triangle = new Float64Array((columns * (columns + 1)) / 2);
  const mean = new Float64Array(columns);
  // A typed array of one: a number that a closure changes would be put on the heap anew each time.
  const height = new Float64Array(1);
  visitRiskSets(rows, predictors, 2, (set) => {
    const { first, end, shift } = set;
    let gained = 0;
    for (let k = first; k < end; k++) {
      if (event[k] !== 1) continue;
      const w = weight[k] ?? 0;
      gained += w * ((predictors[k] ?? 0) - shift);
      for (let j = 0, cell = k * columns; j < columns; j++, cell++) {
        score[j] = (score[j] ?? 0) + w * (covariates[cell] ?? 0);
      }
    }
    const { parts, partWeight } = tiedParts(set, ties);
    for (let part = 0; part < parts; part++) gained -= subtractPart(set, part / parts, partWeight);
    height[0] = (height[0] ?? 0) + gained;
  });
  return { logLikelihood: height[0] ?? NaN, score, information: fullMatrix(triangle, columns) };

  /** Takes one part of a tied time from the score, adds it to the information, and gives its part of the height. */
  function subtractPart(set: RiskSet, removed: number, partWeight: number): number {
    const { sum1, sum2, tied1, tied2 } = set;
    const sum = set.sum0 - removed * set.tied0;
    let cell = 0;
    for (let j = 0; j < columns; j++) {
      const total = removed === 0 ? (sum1[j] ?? 0) : (sum1[j] ?? 0) - removed * (tied1[j] ?? 0);
      const average = total / sum;
      mean[j] = average;
      score[j] = (score[j] ?? 0) - partWeight * average;
      for (let i = 0; i <= j; i++, cell++) {
        const squares = removed === 0 ? (sum2[cell] ?? 0) : (sum2[cell] ?? 0) - removed * (tied2[cell] ?? 0);
        triangle[cell] = (triangle[cell] ?? 0) + partWeight * (squares / sum - average * (mean[i] ?? 0));
      }
    }
    return partWeight * Math.log(sum);
  }
}

/** A symmetric matrix, row-major, from its lower triangle. */
export function fullMatrix(triangle: Float64Array, size: number): Float64Array {
  const matrix = new Float64Array(size * size);
  let cell = 0;
  for (let row = 0; row < size; row++) {
    for (let column = 0; column <= row; column++, cell++) {
      const value = triangle[cell] ?? NaN;
      matrix[row * size + column] = value;
      matrix[column * size + row] = value;
    }
  }
  return matrix;
}
