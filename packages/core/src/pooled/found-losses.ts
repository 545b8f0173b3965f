import { DAYS_PER_YEAR } from '../records';
import type { EndingCount, LossCount } from './centre-statistics';

/** Patients whose loss was found and may have come by a year: those from whom a curve can have fallen by then. */
export function lossesFoundBy(losses: readonly LossCount[], year: number): number {
  return losses
    .filter(({ left, right }) => right !== null && left / DAYS_PER_YEAR < year)
    .reduce((sum, { patients }) => sum + patients, 0);
}

/** Patients whose follow-up ended in one way by a year. */
export function endedBy(endings: readonly EndingCount[], how: EndingCount['ending'], year: number): number {
  return endings
    .filter(({ day, ending }) => ending === how && day / DAYS_PER_YEAR <= year)
    .reduce((sum, { patients }) => sum + patients, 0);
}
