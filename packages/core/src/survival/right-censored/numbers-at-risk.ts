import { checkColumn, FINITE, risingOrder } from '../../numeric';
import { lastNotAfter } from './step-search';
import { checkObservation, type RightCensoredTimes, type TimesRefusal } from './times';

/**
 * How many were under observation just before each of the times `at`: entry < t <= time.
 *
 * @param at finite times, in any order; others are refused
 */
export function numbersAtRisk(
  columns: Omit<RightCensoredTimes, 'event'>,
  at: readonly number[],
): number[] | TimesRefusal {
  const fault = checkObservation(columns) ?? checkColumn('at', at, FINITE);
  if (fault !== null) return fault;
  const { time, entry, weights } = columns;
  const order = risingOrder(at);
  const rising = Float64Array.from(order, (place) => at[place] ?? NaN);
  // How the number changes from one of the times to the next.
  const change = new Float64Array(at.length + 1);
  for (let i = 0; i < time.length; i++) {
    const weight = weights?.[i] ?? 1;
    const from = entry === undefined ? 0 : lastNotAfter(rising, entry[i] ?? NaN) + 1;
    const to = lastNotAfter(rising, time[i] ?? NaN) + 1;
    change[from] = (change[from] ?? 0) + weight;
    change[to] = (change[to] ?? 0) - weight;
  }
  const numbers = new Array<number>(at.length).fill(0);
  let atRisk = 0;
  order.forEach((place, rank) => {
    atRisk += change[rank] ?? 0;
    numbers[place] = atRisk;
  });
  return numbers;
}
