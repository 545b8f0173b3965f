import { risingOrder } from '../../numeric';
import type { IntervalTimes } from './interval-times';

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
  /** Left and right ends of the innermost intervals, in rising order. */
  readonly left: Float64Array;
  readonly right: Float64Array;
  /** First and last innermost interval covered by an observation, and how often it was made (above 0). */
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
  /** Observations without a right end, then the others, each by their left ends: neighbours tend to cover the same. */
  readonly neighbours: Int32Array;
}

/** The list as columns. */
export function intervalColumns(times: readonly CensoredInterval[]): IntervalTimes {
  return {
    left: Float64Array.from(times, ({ left }) => left),
    right: Float64Array.from(times, ({ right }) => right ?? Infinity),
  };
}

/** Puts the ends of a sample's intervals in order; the cost of a sort, paid once. */
export function orderSample({ left, right }: IntervalTimes): OrderedSample {
  const size = left.length;
  // A stable sort keeps the blocks apart at one moment: exact left ends, right ends, other left ends.
  const ends = new Float64Array(2 * size);
  const source = new Int32Array(2 * size);
  let written = 0;
  const write = (time: number, end: number): void => {
    ends[written] = time;
    source[written++] = end;
  };
  for (let i = 0; i < size; i++) if (left[i] === right[i]) write(left[i] ?? NaN, 2 * i);
  for (let i = 0; i < size; i++) write(right[i] ?? NaN, 2 * i + 1);
  for (let i = 0; i < size; i++) if (left[i] !== right[i]) write(left[i] ?? NaN, 2 * i);
  const order = risingOrder(ends);
  const times = new Float64Array(2 * size);
  const isLeft = new Uint8Array(2 * size);
  const owner = new Int32Array(2 * size);
  for (let position = 0; position < order.length; position++) {
    const at = order[position] ?? 0;
    const end = source[at] ?? 0;
    times[position] = ends[at] ?? NaN;
    isLeft[position] = 1 - (end & 1);
    owner[position] = end >> 1;
  }
  return { size, times, isLeft, owner, neighbours: neighbours(owner, isLeft, right) };
}

function neighbours(owner: Int32Array, isLeft: Uint8Array, right: ArrayLike<number>): Int32Array {
  const byLeft = owner.filter((_, position) => isLeft[position] === 1);
  const open = byLeft.filter((one) => right[one] === Infinity);
  const ordered = new Int32Array(byLeft.length);
  ordered.set(open);
  ordered.set(
    byLeft.filter((one) => right[one] !== Infinity),
    open.length,
  );
  return ordered;
}

/**
 * The innermost intervals of a sample, and which of them each observation covers, in one pass over the ordered ends:
 * an innermost interval is a left end followed at once by a right end.
 * Sources: Peto 1973; Turnbull 1976.
 *
 * @param counts how often each observation occurs; those with 0 take no part (for resamples)
 */
export function innermostIntervals(sample: OrderedSample, counts: ArrayLike<number>): IntervalLikelihood {
  const { left, right, ...cover } = coveredBy(sample, counts);
  return presentOnly({ left, right }, cover, counts);
}

/**
 * The same with neighbours that cover the same intervals taken together: their order is lost, the likelihood is not.
 * Of yearly visits most observations are open to the right and fall together, so that every pass is the shorter.
 */
export function groupedIntervals(sample: OrderedSample, counts: ArrayLike<number>): IntervalLikelihood {
  const cover = coveredBy(sample, counts);
  const first = new Int32Array(sample.size);
  const last = new Int32Array(sample.size);
  const count = new Float64Array(sample.size);
  let total = 0;
  let written = 0;
  for (const one of sample.neighbours) {
    const n = counts[one] ?? 0;
    if (!(n > 0)) continue;
    const [from, to] = [cover.first[one] ?? 0, cover.last[one] ?? 0];
    total += n;
    if (written > 0 && first[written - 1] === from && last[written - 1] === to) {
      count[written - 1] = (count[written - 1] ?? 0) + n;
      continue;
    }
    first[written] = from;
    last[written] = to;
    count[written++] = n;
  }
  return {
    left: cover.left,
    right: cover.right,
    first: first.subarray(0, written),
    last: last.subarray(0, written),
    count: count.subarray(0, written),
    total,
  };
}

/** Innermost intervals, and the first and last that each observation covers, by its place in the sample. */
function coveredBy(
  sample: OrderedSample,
  counts: ArrayLike<number>,
): Pick<IntervalLikelihood, 'left' | 'right' | 'first' | 'last'> {
  const lefts: number[] = [];
  const rights: number[] = [];
  const first = new Int32Array(sample.size);
  const last = new Int32Array(sample.size);
  let pendingLeft: number | null = null;
  for (let position = 0; position < sample.times.length; position++) {
    const owner = sample.owner[position] ?? 0;
    if ((counts[owner] ?? 0) === 0) continue;
    const time = sample.times[position] ?? NaN;
    if (sample.isLeft[position] === 1) {
      pendingLeft = time;
      first[owner] = lefts.length;
      continue;
    }
    if (pendingLeft !== null) {
      lefts.push(pendingLeft);
      rights.push(time);
    }
    pendingLeft = null;
    last[owner] = lefts.length - 1;
  }
  return { left: Float64Array.from(lefts), right: Float64Array.from(rights), first, last };
}

/** Drops observations that do not occur, so that later passes need not ask. */
function presentOnly(
  ends: Pick<IntervalLikelihood, 'left' | 'right'>,
  cover: Pick<IntervalLikelihood, 'first' | 'last'>,
  counts: ArrayLike<number>,
): IntervalLikelihood {
  let present = 0;
  for (let i = 0; i < counts.length; i++) if ((counts[i] ?? 0) > 0) present++;
  const first = new Int32Array(present);
  const last = new Int32Array(present);
  const count = new Float64Array(present);
  let total = 0;
  let written = 0;
  for (let i = 0; i < counts.length; i++) {
    const n = counts[i] ?? 0;
    if (!(n > 0)) continue;
    first[written] = cover.first[i] ?? 0;
    last[written] = cover.last[i] ?? 0;
    count[written++] = n;
    total += n;
  }
  return { ...ends, first, last, count, total };
}
