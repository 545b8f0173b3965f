import { betaQuantile } from '../numeric';

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
