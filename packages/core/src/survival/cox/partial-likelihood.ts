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
  let logLikelihood = 0;
  visitRiskSets(rows, predictors, 2, (set) => {
    for (let k = set.first; k < set.end; k++) {
      if (event[k] !== 1) continue;
      const w = weight[k] ?? 0;
      logLikelihood += w * ((predictors[k] ?? 0) - set.shift);
      for (let j = 0; j < columns; j++) {
        score[j] = (score[j] ?? 0) + w * (covariates[k * columns + j] ?? 0);
      }
    }
    const { parts, partWeight } = tiedParts(set, ties);
    for (let part = 0; part < parts; part++) {
      const removed = part / parts;
      const sum = set.sum0 - removed * set.tied0;
      logLikelihood -= partWeight * Math.log(sum);
      let cell = 0;
      for (let j = 0; j < columns; j++) {
        const average = ((set.sum1[j] ?? 0) - removed * (set.tied1[j] ?? 0)) / sum;
        mean[j] = average;
        score[j] = (score[j] ?? 0) - partWeight * average;
        for (let i = 0; i <= j; i++, cell++) {
          const square = ((set.sum2[cell] ?? 0) - removed * (set.tied2[cell] ?? 0)) / sum;
          triangle[cell] = (triangle[cell] ?? 0) + partWeight * (square - average * (mean[i] ?? 0));
        }
      }
    }
  });
  return { logLikelihood, score, information: fullMatrix(triangle, columns) };
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
