import { visitMoments } from '../right-censored/moments';
import { distinctTimes, type OrderedTimes } from '../right-censored/times';

/** Sums over strata, by group. */
export interface GrayScores {
  readonly observations: Float64Array;
  readonly events: Float64Array;
  readonly observed: Float64Array;
  readonly expected: Float64Array;
}

/** One stratum at its times with events, rising. Columns by group hold `groups` entries for each time. */
export interface GrayMoments {
  readonly groups: number;
  /** How many times have events; the columns may be longer. */
  size: number;
  /** The pooled incidence had reached 1 at an event at which two groups or more were at risk. */
  pooledReachedOne: boolean;
  /** How much events of the time count. */
  readonly weight: Float64Array;
  /** Events of the cause in all groups together. */
  readonly events: Float64Array;
  /** Pooled incidence of the cause just before the time, and from it on. */
  readonly pooledBefore: Float64Array;
  readonly pooled: Float64Array;
  /** By group: at risk, events of other causes, event-free survival just before the time, and from it on. */
  readonly atRisk: Float64Array;
  readonly otherEvents: Float64Array;
  readonly survivalBefore: Float64Array;
  readonly survival: Float64Array;
  /** Sum over groups of those at risk over their event-free survival before. */
  readonly inflated: Float64Array;
}

/** No stratum yet. */
export function noScores(groups: number): GrayScores {
  const column = (): Float64Array => new Float64Array(groups);
  return { observations: column(), events: column(), observed: column(), expected: column() };
}

/**
 * Adds the scores of one stratum and tells what their covariance needs. With Y at risk, S the event-free survival and
 * F the incidence of the cause in a group, R = Y (1 - F(t-)) / S(t-) of it are at risk for the subdistribution;
 * expected is their share of all events.
 *
 * @param rows kind 1 is the cause, kind 2 any other
 */
export function addScores(scores: GrayScores, rows: OrderedTimes, rho: number): GrayMoments {
  const groups = scores.observations.length;
  const moments = emptyMoments(groups, distinctTimes(rows));
  const survival = new Float64Array(groups).fill(1);
  const incidence = new Float64Array(groups);
  let pooled = 0;
  visitMoments(rows, groups, 2, ({ atRisk, counts }) => {
    let all = 0;
    let events = 0;
    let inflated = 0;
    let subdistribution = 0;
    let present = 0;
    for (let g = 0; g < groups; g++) {
      const own = counts[3 * g + 1] ?? NaN;
      const others = counts[3 * g + 2] ?? NaN;
      add(scores.observations, g, own + others + (counts[3 * g] ?? NaN));
      all += own + others;
      events += own;
      const ratio = inflatedOf(atRisk[g] ?? NaN, survival[g] ?? NaN);
      inflated += ratio;
      if (ratio > 0) present++;
      subdistribution += ratio * (1 - (incidence[g] ?? NaN));
    }
    if (all === 0) return;
    if (events > 0 && present > 1 && pooled > 1 - 1e-12) moments.pooledReachedOne = true;
    const m = moments.size++;
    // Where groups differ utterly, the pooled incidence can pass 1.
    const weight = Math.max(0, 1 - pooled) ** rho;
    moments.weight[m] = weight;
    moments.events[m] = events;
    moments.inflated[m] = inflated;
    moments.pooledBefore[m] = pooled;
    pooled += events / inflated;
    moments.pooled[m] = pooled;
    for (let g = 0; g < groups; g++) {
      const own = counts[3 * g + 1] ?? NaN;
      const n = atRisk[g] ?? NaN;
      const before = survival[g] ?? NaN;
      const others = counts[3 * g + 2] ?? NaN;
      const share = (inflatedOf(n, before) * (1 - (incidence[g] ?? NaN))) / subdistribution;
      add(scores.events, g, own);
      add(scores.observed, g, weight * own);
      if (events > 0) add(scores.expected, g, weight * events * share);
      if (own > 0) add(incidence, g, (before * own) / n);
      const failed = own + others;
      if (failed > 0) survival[g] = failed === n ? 0 : before * (1 - failed / n);
      moments.atRisk[m * groups + g] = n;
      moments.otherEvents[m * groups + g] = others;
      moments.survivalBefore[m * groups + g] = before;
      moments.survival[m * groups + g] = survival[g] ?? NaN;
    }
  });
  return moments;
}

/** Those at risk over their event-free survival: about how many rows the group would have, were none censored. */
export function inflatedOf(atRisk: number, survivalBefore: number): number {
  return atRisk > 0 ? atRisk / survivalBefore : 0;
}

function emptyMoments(groups: number, times: number): GrayMoments {
  const column = (): Float64Array => new Float64Array(times);
  const byGroup = (): Float64Array => new Float64Array(times * groups);
  return {
    groups,
    size: 0,
    pooledReachedOne: false,
    weight: column(),
    events: column(),
    pooledBefore: column(),
    pooled: column(),
    atRisk: byGroup(),
    otherEvents: byGroup(),
    survivalBefore: byGroup(),
    survival: byGroup(),
    inflated: column(),
  };
}

function add(totals: Float64Array, place: number, amount: number): void {
  totals[place] = (totals[place] ?? 0) + amount;
}
