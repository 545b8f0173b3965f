/**
 * A time known only to lie in (left, right]. `right` null: not seen by `left` (right-censored).
 * `left === right`: known exactly.
 */
export interface CensoredInterval {
  readonly left: number;
  readonly right: number | null;
}

/** An innermost (Turnbull) interval: the only places where the maximum likelihood curve can drop. */
export interface InnermostInterval {
  readonly left: number;
  /** Infinity for the mass beyond all observation. */
  readonly right: number;
}

/** Observations in terms of the innermost intervals that each of them covers, equal ones counted together. */
export interface IntervalLikelihood {
  readonly intervals: readonly InnermostInterval[];
  /** Distinct observations: first and last innermost interval covered, and how many observations. */
  readonly first: Int32Array;
  readonly last: Int32Array;
  readonly count: Float64Array;
  readonly total: number;
}

type End = readonly [time: number, order: 0 | 1 | 2, isLeft: boolean];

/**
 * Finds the innermost intervals of a set of interval-censored times and which of them each time covers.
 * Intervals are open at the left and closed at the right, so at one moment an exact time's left end comes
 * first, then right ends, then left ends of intervals that begin just after.
 * Source: Turnbull 1976; Peto 1973.
 */
export function innermostIntervals(times: readonly CensoredInterval[]): IntervalLikelihood {
  const intervals = findIntervals(times);
  const counts = new Map<number, number>();
  for (const time of times) {
    const [first, last] = covered(intervals, time);
    const key = first * intervals.length + last;
    counts.set(key, (counts.get(key) ?? 0) + 1);
  }
  const keys = [...counts.keys()].sort((a, b) => a - b);
  return {
    intervals,
    first: Int32Array.from(keys, (key) => Math.floor(key / intervals.length)),
    last: Int32Array.from(keys, (key) => key % intervals.length),
    count: Float64Array.from(keys, (key) => counts.get(key) ?? 0),
    total: times.length,
  };
}

function findIntervals(times: readonly CensoredInterval[]): InnermostInterval[] {
  const ends: End[] = [];
  for (const { left, right } of times) {
    ends.push([left, left === right ? 0 : 2, true], [right ?? Infinity, 1, false]);
  }
  ends.sort((a, b) => (a[0] === b[0] ? a[1] - b[1] : a[0] < b[0] ? -1 : 1));
  const intervals: InnermostInterval[] = [];
  for (let i = 1; i < ends.length; i++) {
    const before = ends[i - 1];
    const here = ends[i];
    if (before?.[2] === true && here?.[2] === false) intervals.push({ left: before[0], right: here[0] });
  }
  return intervals;
}

/** Innermost intervals are disjoint and ordered, so those inside one observation are consecutive. */
function covered(
  intervals: readonly InnermostInterval[],
  { left, right }: CensoredInterval,
): [number, number] {
  const end = right ?? Infinity;
  const exact = left === right;
  const first = firstIndex(intervals, (interval) => (exact ? interval.right >= left : interval.right > left));
  const last = firstIndex(intervals, (interval) => interval.right > end) - 1;
  return [first, last];
}

function firstIndex(
  intervals: readonly InnermostInterval[],
  holds: (interval: InnermostInterval) => boolean,
): number {
  let low = 0;
  let high = intervals.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    const interval = intervals[middle];
    if (interval !== undefined && holds(interval)) high = middle;
    else low = middle + 1;
  }
  return low;
}
