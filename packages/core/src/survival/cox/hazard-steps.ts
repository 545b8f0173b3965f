import type { CoxRows } from './cox-rows';
import { tiedParts } from './partial-likelihood';
import { visitRiskSets, type CoxTies } from './risk-sets';

/**
 * What happens at the event times, stratum by stratum and in each from the earliest to the latest. The hazard is
 * that of a row whose covariates are all at their centre.
 */
export interface HazardSteps {
  /** First step of each stratum, and at the end the number of steps. */
  readonly starts: Uint32Array;
  readonly time: Float64Array;
  readonly atRisk: Uint32Array;
  readonly events: Uint32Array;
  /** Jump of the cumulative hazard: Breslow's estimator, or Efron's where ties are dealt with his way. */
  readonly jump: Float64Array;
  /** Jump of the variance of the cumulative hazard, the coefficients taken as known. */
  readonly variance: Float64Array;
  /** Jump times the mean of the standardised covariates in the risk set; `steps * columns`. */
  readonly drift: Float64Array;
}

/** Sources: Breslow 1972; Tsiatis 1981; for Efron's sharing of ties Therneau and Grambsch 2000, section 10.2. */
export function hazardSteps(rows: CoxRows, predictors: Float64Array, ties: CoxTies): HazardSteps {
  const { columns } = rows;
  const starts = countedSteps(rows);
  const steps = starts[starts.length - 1] ?? 0;
  const hazards: HazardSteps = {
    starts,
    time: new Float64Array(steps),
    atRisk: new Uint32Array(steps),
    events: new Uint32Array(steps),
    jump: new Float64Array(steps),
    variance: new Float64Array(steps),
    drift: new Float64Array(steps * columns),
  };
  const next = starts.slice(1);
  visitRiskSets(rows, predictors, 1, (set) => {
    const step = (next[set.stratum] ?? 0) - 1;
    next[set.stratum] = step;
    hazards.time[step] = set.time;
    hazards.atRisk[step] = set.atRisk;
    hazards.events[step] = set.events;
    const { parts, partWeight } = tiedParts(set, ties);
    const unshift = Math.exp(-set.shift);
    for (let part = 0; part < parts; part++) {
      const removed = part / parts;
      const sum = set.sum0 - removed * set.tied0;
      const jump = (partWeight / sum) * unshift;
      hazards.jump[step] = (hazards.jump[step] ?? 0) + jump;
      hazards.variance[step] = (hazards.variance[step] ?? 0) + (jump * unshift) / sum;
      for (let j = 0, cell = step * columns; j < columns; j++, cell++) {
        const mean = ((set.sum1[j] ?? 0) - removed * (set.tied1[j] ?? 0)) / sum;
        hazards.drift[cell] = (hazards.drift[cell] ?? 0) + jump * mean;
      }
    }
  });
  return hazards;
}

function countedSteps({ strataStarts, time, event }: CoxRows): Uint32Array {
  const starts = new Uint32Array(strataStarts.length);
  for (let s = 0; s + 1 < strataStarts.length; s++) {
    let steps = 0;
    let last = NaN;
    for (let k = strataStarts[s] ?? 0; k < (strataStarts[s + 1] ?? 0); k++) {
      if (event[k] !== 1 || time[k] === last) continue;
      last = time[k] ?? NaN;
      steps++;
    }
    starts[s + 1] = (starts[s] ?? 0) + steps;
  }
  return starts;
}

/** Running totals of jumps within each stratum, `width` numbers a step. */
export function cumulative(jumps: Float64Array, starts: Uint32Array, width: number): Float64Array {
  const totals = jumps.slice();
  for (let s = 0; s + 1 < starts.length; s++) {
    const first = (starts[s] ?? 0) * width;
    for (let cell = first + width; cell < (starts[s + 1] ?? 0) * width; cell++) {
      totals[cell] = (totals[cell] ?? 0) + (totals[cell - width] ?? 0);
    }
  }
  return totals;
}

/** The last step of a stratum at or before `time`; -1 where there is none. */
export function lastStepBy(
  { starts, time }: Pick<HazardSteps, 'starts' | 'time'>,
  stratum: number,
  at: number,
): number {
  const first = starts[stratum] ?? 0;
  let low = first;
  let high = starts[stratum + 1] ?? 0;
  while (low < high) {
    const middle = (low + high) >>> 1;
    if ((time[middle] ?? Infinity) <= at) low = middle + 1;
    else high = middle;
  }
  return low === first ? -1 : low - 1;
}
