import { betaQuantile, rootBetween } from '../numeric';

/**
 * Exact binomial limits of a proportion that rests on `size` patients' worth of information (which need not be
 * a whole number). At a proportion of 1 or 0 they still leave room, as they must.
 * Sources: Clopper and Pearson 1934; Korn and Graubard 1998 (effective sizes).
 *
 * @param size at least 1 is assumed
 */
export function exactLimits(
  proportion: number,
  size: number,
  level: number,
): { lower: number; upper: number } {
  const tail = (1 - level) / 2;
  const n = Math.max(1, size);
  const successes = proportion * n;
  const failures = n - successes;
  return {
    lower: successes < ROUNDING ? 0 : betaQuantile(tail, successes, failures + 1),
    upper: failures < ROUNDING ? 1 : betaQuantile(1 - tail, successes + 1, failures),
  };
}

const ROUNDING = 1e-9;
const MOST_PATIENTS = 1e9;

/**
 * How many patients' worth of information a lower limit speaks of: the size for which `exactLimits` gives it.
 *
 * @param lower from 0 to the proportion
 * @returns at least 1; null where every size gives a lower limit of 0 (proportion 0), or none so high a one
 */
export function sizeOfLimits(proportion: number, lower: number, level: number): number | null {
  if (proportion === 0) return null;
  if (lower <= exactLimits(proportion, 1, level).lower) return 1;
  const logSize = rootBetween(
    (log) => exactLimits(proportion, Math.exp(log), level).lower - lower,
    0,
    Math.log(MOST_PATIENTS),
    1e-9,
  );
  return logSize === null ? null : Math.exp(logSize);
}
