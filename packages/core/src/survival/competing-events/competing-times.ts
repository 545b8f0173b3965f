import { checkColumn, refuse, type ColumnRule, type Refusal } from '../../numeric';
import { checkObservation, type RightCensoredTimes, type TimesRefusal } from '../right-censored/times';

/** Times of which each is an event of one of several causes or the end of observation; one entry a row. */
export interface CompetingTimes extends Omit<RightCensoredTimes, 'event'> {
  /** 0: no event had happened by `time`; 1, 2, ...: the event of that cause happened at `time`. */
  readonly cause: ArrayLike<number>;
}

export type CompetingRefusal = TimesRefusal | Refusal<'unknown-cause'>;

const CAUSE: ColumnRule = {
  holds: (value) => Number.isSafeInteger(value) && value >= 0,
  must: '0 (censored) or the number of a cause: 1, 2, ...',
};

/** More causes than this are a column mistaken for the causes, such as a time or a number of a patient. */
const MOST_CAUSES = 100;

/**
 * Checks the columns and tells how many causes there are.
 *
 * @param causes how many there are by the study's plan; null: as many as the highest number in the column
 */
export function countCauses(columns: CompetingTimes, causes: number | null): number | CompetingRefusal {
  const { cause, time } = columns;
  const fault = checkObservation(columns) ?? checkColumn('cause', cause, CAUSE, time.length);
  if (fault !== null) return fault;
  if (causes !== null && !(Number.isSafeInteger(causes) && causes >= 1 && causes <= MOST_CAUSES)) {
    return refuse('wrong-value', `causes is ${causes}; it must be a whole number from 1 to ${MOST_CAUSES}.`);
  }
  const most = causes ?? MOST_CAUSES;
  let highest = 1;
  for (let i = 0; i < cause.length; i++) {
    const value = cause[i] ?? 0;
    if (value > most) {
      return refuse('unknown-cause', `cause[${i}] is ${value}; it must be 0 (censored) or 1 to ${most}.`);
    }
    if (value > highest) highest = value;
  }
  return causes ?? highest;
}
