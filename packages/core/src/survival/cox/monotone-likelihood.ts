import type { CoxRows } from './cox-rows';
import { linearPredictors } from './risk-sets';

/** Parts of a direction this small beside the largest are left over from the search for the finite coefficients. */
const REST = 1e-4;
/** Falls this small beside the spread of x'd are rounding of a d of several columns; one of one column is exact. */
const ROUNDING = 1e-6;

/**
 * Whether the partial likelihood rises for ever along a direction d: when every event has the highest x'd of its risk
 * set, and some event a higher one than somebody else. Then no finite maximum exists.
 * Sources: Bryson and Johnson 1981; Heinze and Schemper 2001.
 *
 * @param step a step of a search that does not get shorter; its small parts are set to zero
 * @returns the direction, or null where the likelihood does not rise for ever along it
 */
export function monotoneDirection(rows: CoxRows, step: ArrayLike<number>): Float64Array | null {
  const largest = Array.from(step).reduce((most, part) => Math.max(most, Math.abs(part)), 0);
  if (!(largest > 0)) return null;
  const direction = Float64Array.from(step, (part) => (Math.abs(part) < REST * largest ? 0 : part / largest));
  const columns = direction.filter((part) => part !== 0).length;
  const along = linearPredictors(rows, direction);
  return risesForEver(rows, along, columns === 1 ? 0 : ROUNDING * spread(along)) ? direction : null;
}

function risesForEver(rows: CoxRows, along: Float64Array, allowed: number): boolean {
  let rises = false;
  for (let s = 0; s + 1 < rows.strataStarts.length; s++) {
    const extremes = rows.entry === null ? growingExtremes : windowExtremes;
    const first = rows.strataStarts[s] ?? 0;
    const end = rows.strataStarts[s + 1] ?? 0;
    const { highest, lowest } = extremes(rows, along, first, end);
    for (let k = first; k < end; k++) {
      if (rows.event[k] !== 1) continue;
      if ((along[k] ?? 0) < (highest[k - first] ?? 0) - allowed) return false;
      if ((along[k] ?? 0) > (lowest[k - first] ?? 0) + allowed) rises = true;
    }
  }
  return rises;
}

function spread(values: Float64Array): number {
  let lowest = Infinity;
  let highest = -Infinity;
  for (const value of values) {
    if (value < lowest) lowest = value;
    if (value > highest) highest = value;
  }
  return highest - lowest;
}

interface Extremes {
  readonly highest: Float64Array;
  readonly lowest: Float64Array;
}

/** Extremes of each place's risk set where nobody enters late: all places up to the last of the same time. */
function growingExtremes(rows: CoxRows, along: Float64Array, first: number, end: number): Extremes {
  const highest = new Float64Array(end - first);
  const lowest = new Float64Array(end - first);
  let most = -Infinity;
  let least = Infinity;
  for (let k = first; k < end;) {
    const tied = k;
    for (; k < end && rows.time[k] === rows.time[tied]; k++) {
      most = Math.max(most, along[k] ?? 0);
      least = Math.min(least, along[k] ?? 0);
    }
    highest.fill(most, tied - first, k - first);
    lowest.fill(least, tied - first, k - first);
  }
  return { highest, lowest };
}

/** The same where rows enter late; by looking at all of them, for it is asked only where a search does not settle. */
function windowExtremes(rows: CoxRows, along: Float64Array, first: number, end: number): Extremes {
  const highest = new Float64Array(end - first).fill(-Infinity);
  const lowest = new Float64Array(end - first).fill(Infinity);
  for (let k = first; k < end; k++) {
    if (rows.event[k] !== 1) continue;
    const now = rows.time[k] ?? NaN;
    for (let i = first; i < end && (rows.time[i] ?? NaN) >= now; i++) {
      if ((rows.entry?.[i] ?? -Infinity) >= now) continue;
      highest[k - first] = Math.max(highest[k - first] ?? 0, along[i] ?? 0);
      lowest[k - first] = Math.min(lowest[k - first] ?? 0, along[i] ?? 0);
    }
  }
  return { highest, lowest };
}
