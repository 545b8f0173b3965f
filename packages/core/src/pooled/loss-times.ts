import { DAYS_PER_YEAR } from '../records';
import type { IntervalTimes } from '../survival';
import type { LossCount } from './centre-statistics';

/** Counted loss intervals as columns, in years. */
export function intervalTimesOf(losses: readonly LossCount[]): Required<IntervalTimes> {
  return {
    left: losses.map(({ left }) => left / DAYS_PER_YEAR),
    right: losses.map(({ right }) => (right === null ? Infinity : right / DAYS_PER_YEAR)),
    count: losses.map(({ patients }) => patients),
  };
}

/** Patients still followed at a year and not yet seen lost; a loss counts as seen from the visit that found it. */
export function patientsAtRisk(losses: readonly LossCount[], year: number): number {
  return losses
    .filter(({ left, right }) => (right ?? left) / DAYS_PER_YEAR >= year)
    .reduce((sum, { patients }) => sum + patients, 0);
}

/** Patients of whom it is known whether they still had the gain at a year, or about when they lost it. */
export function patientsKnown(losses: readonly LossCount[], year: number): number {
  return losses
    .filter(({ left, right }) => right !== null || left / DAYS_PER_YEAR >= year)
    .reduce((sum, { patients }) => sum + patients, 0);
}

/** The same intervals of several centres as one list, equal ones counted together, in a fixed order. */
export function mergedLosses(centres: readonly (readonly LossCount[])[]): LossCount[] {
  const counts = new Map<string, LossCount>();
  for (const loss of centres.flat()) {
    const key = `${loss.left} ${loss.right ?? ''}`;
    const known = counts.get(key);
    counts.set(key, { ...loss, group: null, patients: loss.patients + (known?.patients ?? 0) });
  }
  return [...counts.values()].sort(
    (a, b) => a.left - b.left || (a.right ?? Infinity) - (b.right ?? Infinity) || 0,
  );
}
