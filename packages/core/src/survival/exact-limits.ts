import { betaQuantile } from '../numeric';

/**
 * Limits of a survival of exactly 1 (nobody lost yet) or 0 (everybody lost) from the number at risk: the exact
 * binomial ones, since formulas from the curve's variance would claim certainty.
 * Source: Clopper and Pearson 1934.
 *
 * @param atRisk how many the value rests on; at least 1 is assumed
 */
export function exactLimits(
  survival: 0 | 1,
  atRisk: number,
  level: number,
): { lower: number; upper: number } {
  const tail = (1 - level) / 2;
  const n = Math.max(1, atRisk);
  return survival === 1
    ? { lower: betaQuantile(tail, n, 1), upper: 1 }
    : { lower: 0, upper: betaQuantile(1 - tail, 1, n) };
}
