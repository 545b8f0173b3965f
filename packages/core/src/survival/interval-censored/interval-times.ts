import { checkColumn, NOT_NEGATIVE, refuse, type ColumnRule, type Refusal } from '../../numeric';

/**
 * Times known only to lie in (left, right], one entry for each patient, in any one unit.
 * `left = right`: known exactly. `right = Infinity`: not seen by `left` (right-censored).
 * `left = 0`: not known to be free of the event at any time after the start (left-censored at `right`).
 */
export interface IntervalTimes {
  readonly left: ArrayLike<number>;
  readonly right: ArrayLike<number>;
  /** How many patients each entry stands for; default 1. Need not be whole; entries with 0 take no part. */
  readonly count?: ArrayLike<number> | undefined;
}

export type IntervalRefusal = Refusal<'no-data' | 'wrong-length' | 'wrong-value' | 'not-an-interval'>;

const RIGHT_END: ColumnRule = { holds: (value) => value >= 0, must: '0 or more, or Infinity where open' };

/** Refuses times that are not intervals: no entries, NaN, negative, an infinite left end, left above right. */
export function checkIntervals({ left, right, count }: IntervalTimes): IntervalRefusal | null {
  if (left.length === 0) return refuse('no-data', 'There are no times; at least one is needed.');
  const wrongColumn =
    checkColumn('left', left, NOT_NEGATIVE) ??
    checkColumn('right', right, RIGHT_END, left.length) ??
    (count === undefined ? null : checkColumn('count', count, NOT_NEGATIVE, left.length));
  if (wrongColumn !== null) return wrongColumn;
  for (let i = 0; i < left.length; i++) {
    const from = left[i] ?? NaN;
    const to = right[i] ?? NaN;
    if (from > to) {
      return refuse(
        'not-an-interval',
        `left[${i}] is ${from} and right[${i}] is ${to}; the left end must not be above the right one.`,
      );
    }
  }
  if (count !== undefined && !Array.from(count).some((n) => n > 0)) {
    return refuse('no-data', 'Every count is 0; at least one must be above 0.');
  }
  return null;
}

/** The counts as a column of their own: ones where none are given. */
export function countsOf({ left, count }: IntervalTimes): Float64Array {
  return count === undefined ? new Float64Array(left.length).fill(1) : Float64Array.from(count);
}

/** More patients than this are not written out one by one, as resampling and permuting do. */
const MOST_PATIENTS = 1_000_000;

/** Refuses counts that do not stand for whole patients, or for more than can be written out one by one. */
export function checkWholeCounts(counts: Float64Array): Refusal<'not-whole' | 'too-many'> | null {
  let total = 0;
  for (let i = 0; i < counts.length; i++) {
    const count = counts[i] ?? 0;
    total += count;
    if (!Number.isInteger(count)) {
      return refuse(
        'not-whole',
        `count[${i}] is ${count}; patients are drawn one by one, so counts must be whole.`,
      );
    }
  }
  return total <= MOST_PATIENTS
    ? null
    : refuse(
        'too-many',
        `The counts add up to ${total}; at most ${MOST_PATIENTS} patients can be drawn one by one.`,
      );
}
