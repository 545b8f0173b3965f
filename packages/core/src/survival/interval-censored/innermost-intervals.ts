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

/** Observations in terms of the innermost intervals that each of them covers, a consecutive run. */
export interface IntervalLikelihood {
  readonly intervals: readonly InnermostInterval[];
  /** First and last innermost interval covered by an observation, and how often it was made. */
  readonly first: Int32Array;
  readonly last: Int32Array;
  readonly count: Float64Array;
  readonly total: number;
}

/**
 * A sample whose interval ends are in order, so that any resample of it finds its innermost intervals in one pass.
 * Intervals are open at the left and closed at the right, so at one moment an exact time's left end comes first,
 * then right ends, then left ends of intervals that begin just after.
 */
export interface OrderedSample {
  readonly size: number;
  /** By position in the order: the time, whether it is a left end, and the observation it belongs to. */
  readonly times: Float64Array;
  readonly isLeft: Uint8Array;
  readonly owner: Int32Array;
}

/** Puts the ends of a sample's intervals in order; the cost of a sort, paid once. */
export function orderSample(sample: readonly CensoredInterval[]): OrderedSample {
  const ends = sample.flatMap(({ left, right }, owner) => [
    { time: left, rank: left === right ? 0 : 2, owner },
    { time: right ?? Infinity, rank: 1, owner },
  ]);
  ends.sort((a, b) => (a.time === b.time ? a.rank - b.rank : a.time < b.time ? -1 : 1));
  return {
    size: sample.length,
    times: Float64Array.from(ends, ({ time }) => time),
    isLeft: Uint8Array.from(ends, ({ rank }) => (rank === 1 ? 0 : 1)),
    owner: Int32Array.from(ends, ({ owner }) => owner),
  };
}

/**
 * The innermost intervals of a sample, and which of them each observation covers, in one pass over the ordered ends:
 * an innermost interval is a left end followed at once by a right end.
 * Sources: Peto 1973; Turnbull 1976.
 *
 * @param counts how often each observation occurs; those with 0 take no part (for resamples)
 */
export function innermostIntervals(sample: OrderedSample, counts: Float64Array): IntervalLikelihood {
  const intervals: InnermostInterval[] = [];
  const first = new Int32Array(sample.size);
  const last = new Int32Array(sample.size);
  let pendingLeft: number | null = null;
  for (let position = 0; position < sample.times.length; position++) {
    const owner = sample.owner[position] ?? 0;
    if ((counts[owner] ?? 0) === 0) continue;
    const time = sample.times[position] ?? NaN;
    if (sample.isLeft[position] === 1) {
      pendingLeft = time;
      first[owner] = intervals.length;
      continue;
    }
    if (pendingLeft !== null) intervals.push({ left: pendingLeft, right: time });
    pendingLeft = null;
    last[owner] = intervals.length - 1;
  }
  return withoutAbsent({
    intervals,
    first,
    last,
    count: counts,
    total: counts.reduce((sum, n) => sum + n, 0),
  });
}

/** Drops observations that do not occur, so that later passes need not ask. */
function withoutAbsent(likelihood: IntervalLikelihood): IntervalLikelihood {
  const present: number[] = [];
  likelihood.count.forEach((count, i) => {
    if (count > 0) present.push(i);
  });
  if (present.length === likelihood.count.length) return likelihood;
  return {
    ...likelihood,
    first: Int32Array.from(present, (i) => likelihood.first[i] ?? 0),
    last: Int32Array.from(present, (i) => likelihood.last[i] ?? 0),
    count: Float64Array.from(present, (i) => likelihood.count[i] ?? 0),
  };
}
