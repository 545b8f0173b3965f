import { groupedIntervals, innermostIntervals, orderSample, type OrderedSample } from './innermost-intervals';
import type { IntervalTimes } from './interval-times';
import { placeAt } from './mass-likelihood';
import { scoresUnder } from './rank-scores';
import { maximumMasses } from './turnbull';
import { readInto, RESAMPLE_GAP } from './turnbull-interval';

/** Different intervals, put in order once for the curves and scores of all groups of patients who have them. */
export type OrderedTimes = OrderedSample;

/** Puts intervals in order; each may stand for any number of patients. */
export function orderedIntervals(times: IntervalTimes): OrderedTimes {
  return orderSample(times);
}

/**
 * Turnbull's curve of some patients, as near to its maximum as a variance asks for.
 *
 * @param counts how many of them have each interval
 * @param at times in rising order
 * @returns survival at each time; null where there are none
 */
export function quickCurve(
  times: OrderedTimes,
  counts: Float64Array,
  at: readonly number[],
): Float64Array | null {
  const likelihood = groupedIntervals(times, counts);
  if (likelihood.total === 0) return null;
  const { masses } = maximumMasses(likelihood, RESAMPLE_GAP).place;
  const read = at.map(() => new Float64Array(1));
  readInto(
    read,
    0,
    at.map((time, i) => ({ time, i })),
    likelihood,
    masses,
  );
  return Float64Array.from(read, ([value]) => value ?? NaN);
}

/**
 * Sums of Sun's scores by group: what `groupTest` compares within these patients as one stratum.
 *
 * @param groups for each group how many of it have each interval
 * @returns zeros where there is nobody
 */
export function quickScores(times: OrderedTimes, groups: readonly Float64Array[]): Float64Array {
  const counts = Float64Array.from({ length: times.size }, (_, i) =>
    groups.reduce((sum, own) => sum + (own[i] ?? 0), 0),
  );
  const grouped = groupedIntervals(times, counts);
  if (grouped.total === 0) return new Float64Array(groups.length);
  const likelihood = innermostIntervals(times, counts);
  const place = placeAt(likelihood, maximumMasses(grouped, RESAMPLE_GAP).place.masses);
  const scores = scoresUnder(likelihood, place, 'sun');
  const mean = scores.reduce((sum, score, i) => sum + score * (likelihood.count[i] ?? 0), 0) / grouped.total;
  const sums = new Float64Array(groups.length);
  let next = 0;
  for (let i = 0; i < counts.length; i++) {
    if (!((counts[i] ?? 0) > 0)) continue;
    const score = (scores[next++] ?? 0) - mean;
    for (let g = 0; g < sums.length; g++) sums[g] = (sums[g] ?? 0) + score * (groups[g]?.[i] ?? 0);
  }
  return sums;
}
