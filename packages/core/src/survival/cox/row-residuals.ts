import type { CoxRows } from './cox-rows';
import { cumulative, hazardSteps, lastStepBy } from './hazard-steps';
import { tiedParts } from './partial-likelihood';
import { linearPredictors, visitRiskSets, type CoxTies } from './risk-sets';

/** One residual, or one for each column, for each place. */
export interface RowResiduals {
  /** Events seen less events expected. */
  readonly martingale: Float64Array;
  /** The row's part of the first derivatives, for standardised covariates and weight 1; `rows * columns`. */
  readonly score: Float64Array;
}

/**
 * Martingale and score residuals. The score residual of row i is the integral of (x_i - mean x at risk) over its own
 * martingale; with Efron's ties an event is exposed to 1 - l/d of the hazard of part l of its own time.
 * Sources: Barlow and Prentice 1988; Therneau, Grambsch and Fleming 1990; Therneau and Grambsch 2000, section 4.6.
 */
export function rowResiduals(rows: CoxRows, coefficients: ArrayLike<number>, ties: CoxTies): RowResiduals {
  const { columns, covariates, event, entry, time } = rows;
  const predictors = linearPredictors(rows, coefficients);
  const hazards = hazardSteps(rows, predictors, ties);
  const hazard = cumulative(hazards.jump, hazards.starts, 1);
  const drift = cumulative(hazards.drift, hazards.starts, columns);
  const martingale = Float64Array.from(event);
  const score = new Float64Array(rows.rows * columns);
  addOwnTimes(rows, predictors, ties, martingale, score);
  for (let stratum = 0; stratum + 1 < rows.strataStarts.length; stratum++) {
    const end = rows.strataStarts[stratum + 1] ?? 0;
    for (let k = rows.strataStarts[stratum] ?? 0; k < end; k++) {
      const to = lastStepBy(hazards, stratum, time[k] ?? NaN);
      const from = entry === null ? -1 : lastStepBy(hazards, stratum, entry[k] ?? NaN);
      const risk = Math.exp(predictors[k] ?? 0);
      // No step is at place -1, which reads as zero.
      const exposure = (hazard[to] ?? 0) - (hazard[from] ?? 0);
      martingale[k] = (martingale[k] ?? 0) - risk * exposure;
      for (let j = 0; j < columns; j++) {
        const cell = k * columns + j;
        const drifted =
          (to < 0 ? 0 : (drift[to * columns + j] ?? 0)) - (from < 0 ? 0 : (drift[from * columns + j] ?? 0));
        score[cell] = (score[cell] ?? 0) - risk * ((covariates[cell] ?? 0) * exposure - drifted);
      }
    }
  }
  return { martingale, score };
}

/** What an event adds at its own time: its own jump, and the hazard it was not exposed to among tied events. */
function addOwnTimes(
  rows: CoxRows,
  predictors: Float64Array,
  ties: CoxTies,
  martingale: Float64Array,
  score: Float64Array,
): void {
  const { columns, covariates, event } = rows;
  const average = new Float64Array(columns);
  const spared = new Float64Array(columns);
  visitRiskSets(rows, predictors, 1, (set) => {
    const { parts, partWeight } = tiedParts(set, ties);
    average.fill(0);
    spared.fill(0);
    let sparedHazard = 0;
    for (let part = 0; part < parts; part++) {
      const removed = part / parts;
      const sum = set.sum0 - removed * set.tied0;
      const hazard = (removed * partWeight) / sum;
      sparedHazard += hazard;
      for (let j = 0; j < columns; j++) {
        const mean = ((set.sum1[j] ?? 0) - removed * (set.tied1[j] ?? 0)) / sum;
        average[j] = (average[j] ?? 0) + mean / parts;
        spared[j] = (spared[j] ?? 0) + hazard * mean;
      }
    }
    for (let k = set.first; k < set.end; k++) {
      if (event[k] !== 1) continue;
      const risk = Math.exp((predictors[k] ?? 0) - set.shift);
      martingale[k] = (martingale[k] ?? 0) + risk * sparedHazard;
      for (let j = 0; j < columns; j++) {
        const cell = k * columns + j;
        const value = covariates[cell] ?? 0;
        score[cell] =
          (score[cell] ?? 0) + value - (average[j] ?? 0) + risk * (value * sparedHazard - (spared[j] ?? 0));
      }
    }
  });
}
