import { bilinear, refuse, twoSidedNormal, type Refusal } from '../../numeric';
import { standardisedRow, type CovariateRow, type CovariateRowRefusal } from './covariate-row';
import type { CoxFit } from './cox-fit';
import { cumulative, hazardSteps, lastStepBy, type HazardSteps } from './hazard-steps';
import { linearPredictors } from './risk-sets';

/** How the interval of a survival probability is built. `log-log` stays inside [0, 1] and is the default. */
export type CoxCurveScale = 'log-log' | 'log' | 'plain';

/** How the intervals of a curve are built. */
export interface PredictedSurvivalOptions {
  /** Of the intervals; default: that of the fit. */
  readonly level?: number;
  readonly scale?: CoxCurveScale;
}

/** The expected survival of one row of covariates in one stratum, one entry for each distinct event time. */
export interface PredictedSurvival {
  /** As the caller named it; null where the model has no strata. */
  readonly stratum: string | number | null;
  readonly time: Float64Array;
  /** Rows of the stratum at risk at that time, whatever their covariates. */
  readonly atRisk: Uint32Array;
  readonly events: Uint32Array;
  /** From that time on; 1 before the first. */
  readonly survival: Float64Array;
  readonly cumulativeHazard: Float64Array;
  /** Standard error of the cumulative hazard, that is of -log survival. */
  readonly standardError: Float64Array;
  readonly lower: Float64Array;
  readonly upper: Float64Array;
  /**
   * Lower limit of the survival, then estimated as 1, from the start up to the first event: (1 - level)/2 to the power
   * 1/n, n the number followed over that time in units of the hazard of this row. Exact binomial where hazards are alike.
   */
  readonly lowerBeforeEvents: number;
  /** Up to here somebody of the stratum was under observation; the curve says nothing about later times. */
  readonly lastTime: number;
}

/** The survival at one time, read from a curve. */
export interface SurvivalAtTime {
  readonly time: number;
  /** Null after the last time under observation. */
  readonly survival: number | null;
  readonly lower: number | null;
  readonly upper: number | null;
}

/** Why there is no curve. */
export type CoxPredictionRefusal =
  CovariateRowRefusal | Refusal<'infinite-coefficient' | 'wrong-level' | 'out-of-range'>;

/**
 * Survival expected for one row of covariates under the model, exp(-H exp(x'b)), one curve for each stratum. H is
 * Breslow's estimator, or Efron's where the fit uses his way with ties. The variance is that of H at x, from the
 * counts and from b (with the robust covariance where the fit is robust).
 * Sources: Breslow 1972; Tsiatis 1981; Link 1984; Therneau and Grambsch 2000, section 10.2.
 */
export function predictedSurvival(
  fit: CoxFit,
  row: CovariateRow,
  options: PredictedSurvivalOptions = {},
): PredictedSurvival[] | CoxPredictionRefusal {
  const { level = fit.level, scale = 'log-log' } = options;
  if (!(level > 0 && level < 1)) {
    return refuse('wrong-level', `level is ${level}; it must lie between 0 and 1, such as 0.95.`);
  }
  const at = standardisedRow(fit, row);
  if ('refused' in at) return at;
  const hazards = hazardsAt(fit, at);
  if ('refused' in hazards) return hazards;
  const { steps, hazard, variance } = hazards;
  const multiplier = twoSidedNormal(level);
  return fit.model.sorted.strata.map((stratum, s) => {
    const range: [number, number] = [steps.starts[s] ?? 0, steps.starts[s + 1] ?? 0];
    const cumulativeHazard = hazard.slice(...range);
    const standardError = variance.slice(...range).map(Math.sqrt);
    const limits = (sign: 1 | -1): Float64Array =>
      cumulativeHazard.map((value, i) => limit(value, sign * multiplier * (standardError[i] ?? 0), scale));
    return {
      stratum,
      time: steps.time.slice(...range),
      atRisk: steps.atRisk.slice(...range),
      events: steps.events.slice(...range),
      survival: cumulativeHazard.map((value) => Math.exp(-value)),
      cumulativeHazard,
      standardError,
      lower: limits(1),
      upper: limits(-1),
      lowerBeforeEvents:
        ((1 - level) / 2) ** (1 / followedFromTheStart(fit, at, s, steps.time[range[0]] ?? Infinity)),
      lastTime: fit.model.sorted.time[fit.model.sorted.strataStarts[s] ?? 0] ?? 0,
    };
  });
}

/** How many were under observation from the earliest entry of a stratum to its first event, in units of the hazard at `at`. */
function followedFromTheStart(fit: CoxFit, at: Float64Array, stratum: number, firstEvent: number): number {
  const { sorted, maximum } = fit.model;
  const predictors = linearPredictors(sorted, maximum.coefficients);
  const own = at.reduce((sum, value, j) => sum + value * (maximum.coefficients[j] ?? 0), 0);
  const end = sorted.strataStarts[stratum + 1] ?? 0;
  let earliest = Infinity;
  let followed = 0;
  for (let k = sorted.strataStarts[stratum] ?? 0; k < end; k++) {
    const entry = sorted.entry?.[k] ?? 0;
    if (entry < earliest) followed = 0;
    earliest = Math.min(earliest, entry);
    if (entry > earliest || (sorted.time[k] ?? 0) < firstEvent) continue;
    // Sampling weights count no persons.
    followed += (fit.robust ? 1 : (sorted.weight[k] ?? 0)) * Math.exp((predictors[k] ?? 0) - own);
  }
  return followed;
}

/** Reads a curve at given times. */
export function predictedSurvivalAt(curve: PredictedSurvival, times: readonly number[]): SurvivalAtTime[] {
  const starts = Uint32Array.of(0, curve.time.length);
  return times.map((time) => {
    if (time > curve.lastTime) return { time, survival: null, lower: null, upper: null };
    const step = lastStepBy({ starts, time: curve.time }, 0, time);
    if (step < 0) return { time, survival: 1, lower: time > 0 ? curve.lowerBeforeEvents : 1, upper: 1 };
    return {
      time,
      survival: curve.survival[step] ?? null,
      lower: curve.lower[step] ?? null,
      upper: curve.upper[step] ?? null,
    };
  });
}

/** A limit of exp(-hazard) where `reach` is the multiplier times the standard error of the hazard, signed. */
function limit(hazard: number, reach: number, scale: CoxCurveScale): number {
  switch (scale) {
    case 'plain':
      return Math.min(1, Math.max(0, Math.exp(-hazard) * (1 - reach)));
    case 'log':
      return Math.min(1, Math.exp(-hazard - reach));
    case 'log-log':
      // A hazard too small for a number gives a survival of 1 without doubt.
      return hazard > 0 ? Math.exp(-hazard * Math.exp(reach / hazard)) : 1;
  }
}

/** The baseline cumulative hazard of one stratum: that of a row whose numeric covariates are 0 and factors at their reference. */
export interface BaselineHazard {
  readonly stratum: string | number | null;
  /** Distinct event times. */
  readonly time: Float64Array;
  readonly cumulativeHazard: Float64Array;
}

/**
 * Breslow's estimator of the baseline cumulative hazard, or Efron's where the fit uses his way with ties.
 *
 * @returns a refusal `out-of-range` where zero lies so far from the data that the hazard there is no number
 */
export function baselineHazard(fit: CoxFit): BaselineHazard[] | CoxPredictionRefusal {
  const { centre, scale, strata } = fit.model.sorted;
  const hazards = hazardsAt(
    fit,
    centre.map((value, j) => -value / (scale[j] ?? 1)),
  );
  if ('refused' in hazards) return hazards;
  const { steps, hazard } = hazards;
  return strata.map((stratum, s) => ({
    stratum,
    time: steps.time.slice(steps.starts[s] ?? 0, steps.starts[s + 1] ?? 0),
    cumulativeHazard: hazard.slice(steps.starts[s] ?? 0, steps.starts[s + 1] ?? 0),
  }));
}

/** Cumulative hazard and its variance at standardised covariates, for all steps of all strata. */
function hazardsAt(
  fit: CoxFit,
  at: Float64Array,
):
  | { readonly steps: HazardSteps; readonly hazard: Float64Array; readonly variance: Float64Array }
  | Refusal<'infinite-coefficient' | 'out-of-range'> {
  const { covariance, model } = fit;
  const { sorted, maximum } = model;
  if (covariance === null) {
    return refuse('infinite-coefficient', `There is no survival curve. ${fit.warning ?? ''}`);
  }
  const predictor = at.reduce((sum, value, j) => sum + value * (maximum.coefficients[j] ?? 0), 0);
  const risk = Math.exp(predictor);
  const steps = hazardSteps(sorted, linearPredictors(sorted, maximum.coefficients), fit.ties);
  const hazard = cumulative(steps.jump, steps.starts, 1);
  const counting = cumulative(steps.variance, steps.starts, 1);
  const drift = cumulative(steps.drift, steps.starts, sorted.columns);
  const slope = new Float64Array(sorted.columns);
  const variance = counting.map((value, step) => {
    for (let j = 0; j < slope.length; j++) {
      const away = (drift[step * slope.length + j] ?? 0) - (hazard[step] ?? 0) * (at[j] ?? 0);
      slope[j] = away * (sorted.scale[j] ?? 1);
    }
    return risk * risk * (value + bilinear(slope, covariance, slope));
  });
  const scaled = hazard.map((value) => value * risk);
  if (![...scaled, ...variance].every(Number.isFinite)) {
    return refuse(
      'out-of-range',
      'The covariates lie so far outside the data that the hazard there is too large for a number; choose values near the data.',
    );
  }
  return { steps, hazard: scaled, variance };
}
