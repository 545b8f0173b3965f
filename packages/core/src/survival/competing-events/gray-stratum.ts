import { visitMoments } from '../right-censored/moments';
import type { OrderedTimes } from '../right-censored/times';
import { countVariance } from './incidence-variance';

/** Sums over strata, by group; the covariance is of observed less expected, row by row. */
export interface GraySums {
  readonly observations: Float64Array;
  readonly events: Float64Array;
  readonly observed: Float64Array;
  readonly expected: Float64Array;
  readonly covariance: Float64Array;
}

/** No stratum yet. */
export function emptyGraySums(groups: number): GraySums {
  return {
    observations: new Float64Array(groups),
    events: new Float64Array(groups),
    observed: new Float64Array(groups),
    expected: new Float64Array(groups),
    covariance: new Float64Array(groups * groups),
  };
}

/** What the covariance needs of one time with events. */
interface GrayMoment {
  readonly weight: number;
  /** Events of the cause in all groups. */
  readonly events: number;
  /** Pooled incidence of the cause, before and after. */
  readonly incidenceBefore: number;
  readonly incidence: number;
  /** By group: at risk, other events, event-free survival before and after, and at risk over survival before. */
  readonly atRisk: Float64Array;
  readonly otherEvents: Float64Array;
  readonly survivalBefore: Float64Array;
  readonly survival: Float64Array;
  readonly inflated: Float64Array;
  readonly inflatedTotal: number;
}

/**
 * Adds one stratum. With Y at risk, S event-free survival and F the incidence of the cause in a group, those at risk
 * for the subdistribution number R = Y (1 - F(t-)) / S(t-); the score is observed less R's share of all events.
 *
 * @param rows kind 1 is the cause, kind 2 any other
 */
export function addGrayStratum(sums: GraySums, rows: OrderedTimes, rho: number): void {
  const size = sums.observations.length;
  const survival = new Float64Array(size).fill(1);
  const incidence = new Float64Array(size);
  const subdistribution = new Float64Array(size);
  const moments: GrayMoment[] = [];
  let pooled = 0;
  visitMoments(rows, size, 2, ({ atRisk, counts }) => {
    const survivalBefore = survival.slice();
    const otherEvents = new Float64Array(size);
    const inflated = new Float64Array(size);
    let subdistributionTotal = 0;
    let inflatedTotal = 0;
    let events = 0;
    let others = 0;
    for (let g = 0; g < size; g++) {
      const own = counts[3 * g + 1] ?? NaN;
      const other = counts[3 * g + 2] ?? NaN;
      const n = atRisk[g] ?? NaN;
      const before = survival[g] ?? NaN;
      add(sums.observations, g, own + other + (counts[3 * g] ?? NaN));
      add(sums.events, g, own);
      events += own;
      others += other;
      otherEvents[g] = other;
      inflated[g] = n > 0 ? n / before : 0;
      subdistribution[g] = (inflated[g] ?? NaN) * (1 - (incidence[g] ?? NaN));
      subdistributionTotal += subdistribution[g] ?? NaN;
      inflatedTotal += inflated[g] ?? NaN;
      if (own + other === 0) continue;
      add(incidence, g, (before * own) / n);
      survival[g] = own + other === n ? 0 : before * (1 - (own + other) / n);
    }
    if (events + others === 0) return;
    // Where groups differ utterly, the pooled incidence can pass 1.
    const weight = Math.max(0, 1 - pooled) ** rho;
    const incidenceBefore = pooled;
    pooled += events / inflatedTotal;
    for (let g = 0; g < size && events > 0; g++) {
      add(sums.observed, g, weight * (counts[3 * g + 1] ?? NaN));
      add(sums.expected, g, (weight * events * (subdistribution[g] ?? NaN)) / subdistributionTotal);
    }
    moments.push({
      weight,
      events,
      incidenceBefore,
      incidence: pooled,
      atRisk: atRisk.slice(),
      otherEvents,
      survivalBefore,
      survival: survival.slice(),
      inflated,
      inflatedTotal,
    });
  });
  addCovariance(sums.covariance, moments, size);
}

/**
 * Covariance of the scores were all groups of one cumulative incidence F, by the delta method on the counts of each
 * group. Score r moves with the events of group g at time u by S(u-) / Y times: for the cause, a_rg plus
 * (1 - (1 - F(u)) / S(u)) times the sum of a_rg dF / (1 - F) over later times; for others -(1 - F(u)) / S(u) times
 * that sum; a_rg = weight (r = g) R_g - weight R_r R_g / R, over 1 - F, with R of the pooled F. Times go backwards,
 * for what is later.
 */
function addCovariance(covariance: Float64Array, moments: readonly GrayMoment[], size: number): void {
  const later = new Float64Array(size * size);
  const share = new Float64Array(size * size);
  for (let m = moments.length - 1; m >= 0; m--) {
    const moment = moments[m];
    if (moment === undefined) continue;
    if (moment.events > 0) fillShares(share, moment, size);
    for (let g = 0; g < size; g++) addGroup(covariance, moment, g, share, later, size);
    if (moment.events === 0) continue;
    const left = moment.inflatedTotal * (1 - moment.incidenceBefore);
    const rise = left === 0 ? 0 : moment.events / left;
    for (let cell = 0; cell < later.length; cell++) add(later, cell, rise * (share[cell] ?? NaN));
  }
}

function fillShares(
  share: Float64Array,
  { inflated, inflatedTotal, weight }: GrayMoment,
  size: number,
): void {
  for (let r = 0; r < size; r++) {
    const own = weight * (inflated[r] ?? NaN);
    for (let g = 0; g < size; g++) {
      const part = (inflated[g] ?? NaN) / inflatedTotal;
      share[r * size + g] = own * ((r === g ? 1 : 0) - part);
    }
  }
}

function addGroup(
  covariance: Float64Array,
  moment: GrayMoment,
  g: number,
  share: Float64Array,
  later: Float64Array,
  size: number,
): void {
  const n = moment.atRisk[g] ?? NaN;
  if (n === 0) return;
  const before = moment.survivalBefore[g] ?? NaN;
  const after = moment.survival[g] ?? NaN;
  // With nobody of the group left, nothing later depends on it.
  const ratio = after > 0 ? (1 - moment.incidence) / after : 0;
  const others = moment.otherEvents[g] ?? NaN;
  if (moment.events > 0) {
    // All events of the cause inform the hazard of group g, as if so many of it had been at risk.
    const informing = moment.inflatedTotal * before;
    const ties = moment.events > 1 ? (informing - moment.events) / (informing - 1) : 1;
    const scale = (ties * before * moment.events) / (moment.inflatedTotal * n);
    const ofLater = after > 0 ? 1 - ratio : 0;
    addProducts(covariance, scale, size, (r) => {
      const cell = r * size + g;
      return (share[cell] ?? NaN) + ofLater * (later[cell] ?? NaN);
    });
  }
  if (others > 0) {
    const scale = before * before * countVariance(others, n);
    addProducts(covariance, scale, size, (r) => ratio * (later[r * size + g] ?? NaN));
  }
}

function addProducts(
  covariance: Float64Array,
  scale: number,
  size: number,
  effect: (r: number) => number,
): void {
  for (let r = 0; r < size; r++) {
    for (let q = 0; q < size; q++) add(covariance, r * size + q, scale * effect(r) * effect(q));
  }
}

function add(totals: Float64Array, place: number, amount: number): void {
  totals[place] = (totals[place] ?? 0) + amount;
}
