import { refuse, type Refusal } from '../../numeric';
import type { CompetingTimes } from './competing-times';

/**
 * The rows seen after `from`, each under observation from then on at the earliest: what follows is conditional on
 * having had no event by `from`.
 *
 * @param columns checked
 */
export function startingLater(
  { time, cause, entry, weights }: CompetingTimes,
  from: number,
): CompetingTimes | Refusal<'no-rows' | 'wrong-value'> {
  if (!(from >= 0 && from < Infinity)) {
    return refuse('wrong-value', `from is ${from}; it must be a finite number, 0 or more.`);
  }
  const rows = Array.from({ length: time.length }, (_, row) => row).filter(
    (row) => (time[row] ?? NaN) > from && (weights?.[row] ?? 1) > 0,
  );
  if (rows.length === 0) {
    return refuse(
      'no-rows',
      `from is ${from}, and nobody was observed after it; it must be an earlier time.`,
    );
  }
  const picked = (column: ArrayLike<number>): Float64Array =>
    Float64Array.from(rows, (row) => column[row] ?? NaN);
  return {
    time: picked(time),
    cause: picked(cause),
    entry: Float64Array.from(rows, (row) => Math.max(entry?.[row] ?? 0, from)),
    weights: weights === undefined ? undefined : picked(weights),
  };
}
