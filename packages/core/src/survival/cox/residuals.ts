import { refuse, type Refusal } from '../../numeric';
import type { CoxFit } from './cox-fit';
import { tiedParts } from './partial-likelihood';
import { linearPredictors, visitRiskSets } from './risk-sets';
import { rowResiduals } from './row-residuals';

/** Residuals of the rows, in the order given. */
export interface CoxResiduals {
  /** Events seen less events expected: 1 minus, or 0 minus, the row's cumulative hazard. */
  readonly martingale: Float64Array;
  /** Martingale residuals made more symmetric about zero. */
  readonly deviance: Float64Array;
  /** Each row's part of the first derivatives of the log likelihood, weight 1; row-major, `rows * columns`. */
  readonly score: Float64Array;
}

/** Residuals of the events, stratum by stratum and in each by time. */
export interface SchoenfeldResiduals {
  /** Row of each event, as given. */
  readonly row: Uint32Array;
  readonly time: Float64Array;
  /** Covariates less their mean at risk; row-major, `events * columns`. */
  readonly residuals: Float64Array;
  /** Coefficient plus residual times events times covariance: their course over time is that of the coefficient. */
  readonly scaled: Float64Array;
}

/**
 * Martingale, deviance and score residuals.
 * Sources: Barlow and Prentice 1988; Therneau, Grambsch and Fleming 1990.
 */
export function coxResiduals(fit: CoxFit): CoxResiduals | Refusal<'infinite-coefficient'> {
  if (fit.covariance === null) return noResiduals(fit);
  const { sorted, maximum } = fit.model;
  const { columns, order, scale, event } = sorted;
  const inner = rowResiduals(sorted, maximum.coefficients, fit.ties);
  const martingale = new Float64Array(sorted.rows);
  const deviance = new Float64Array(sorted.rows);
  const score = new Float64Array(sorted.rows * columns);
  for (let k = 0; k < sorted.rows; k++) {
    const row = order[k] ?? 0;
    const residual = inner.martingale[k] ?? 0;
    const happened = event[k] ?? 0;
    // The expected number of events; it can't be below 0 but by rounding.
    const expected = Math.max(0, happened - residual);
    const height = happened === 0 || expected === 0 ? residual : residual + Math.log(expected);
    martingale[row] = residual;
    deviance[row] = Math.sign(residual) * Math.sqrt(Math.max(0, -2 * height));
    for (let j = 0; j < columns; j++) {
      score[row * columns + j] = (inner.score[k * columns + j] ?? 0) * (scale[j] ?? 1);
    }
  }
  return { martingale, deviance, score };
}

/**
 * Schoenfeld residuals, and scaled by the average covariance of the events.
 * With Efron's ties the mean at risk is the average over the parts of the tied time.
 * Sources: Schoenfeld 1982; Grambsch and Therneau 1994.
 */
export function schoenfeldResiduals(fit: CoxFit): SchoenfeldResiduals | Refusal<'infinite-coefficient'> {
  const { modelCovariance, coefficients, events, ties } = fit;
  if (modelCovariance === null) return noResiduals(fit);
  const { sorted, maximum } = fit.model;
  const { columns, covariates, event, scale } = sorted;
  const atPlace = new Float64Array(sorted.rows * columns);
  visitRiskSets(sorted, linearPredictors(sorted, maximum.coefficients), 1, (set) => {
    const { parts } = tiedParts(set, ties);
    for (let j = 0; j < columns; j++) {
      let mean = 0;
      for (let part = 0; part < parts; part++) {
        const removed = part / parts;
        mean +=
          ((set.sum1[j] ?? 0) - removed * (set.tied1[j] ?? 0)) / (set.sum0 - removed * set.tied0) / parts;
      }
      for (let k = set.first; k < set.end; k++) {
        const cell = k * columns + j;
        atPlace[cell] = ((covariates[cell] ?? 0) - mean) * (scale[j] ?? 1);
      }
    }
  });
  const places = eventPlaces(fit);
  const residuals = new Float64Array(events * columns);
  const scaled = new Float64Array(events * columns);
  places.forEach((place, i) => {
    residuals.set(atPlace.subarray(place * columns, (place + 1) * columns), i * columns);
    for (let j = 0; j < columns; j++) {
      let sum = 0;
      for (let m = 0; m < columns; m++) {
        sum += (modelCovariance[j * columns + m] ?? 0) * (residuals[i * columns + m] ?? 0);
      }
      scaled[i * columns + j] = (coefficients[j]?.estimate ?? 0) + events * sum;
    }
  });
  return {
    row: places.map((place) => sorted.order[place] ?? 0),
    time: Float64Array.from(places, (place) => sorted.time[place] ?? 0),
    residuals,
    scaled,
  };

  function eventPlaces({ model }: CoxFit): Uint32Array {
    const found = new Uint32Array(events);
    let next = 0;
    const { strataStarts } = model.sorted;
    for (let s = 0; s + 1 < strataStarts.length; s++) {
      for (let k = (strataStarts[s + 1] ?? 0) - 1; k >= (strataStarts[s] ?? 0); k--) {
        if (event[k] === 1) found[next++] = k;
      }
    }
    return found;
  }
}

function noResiduals(fit: CoxFit): Refusal<'infinite-coefficient'> {
  return refuse('infinite-coefficient', `There are no residuals. ${fit.warning ?? ''}`);
}
