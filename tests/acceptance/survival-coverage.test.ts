import { createRandom } from '@longhold/core/numeric';
import { numberAtRisk, turnbull, turnbullLimits, type CensoredInterval } from '@longhold/core/survival';
import { describe, expect, it } from 'vitest';
import { coverageCounter, leastCoverage } from './coverage';

const STUDIES = 150;
const YEARS = [1, 2, 3, 5];

/** Losses at a constant rate, seen only at yearly visits a few weeks early or late, a quarter of them missed. */
function study(seed: number, patients: number, rate: number): CensoredInterval[] {
  const random = createRandom(seed);
  return Array.from({ length: patients }, () => {
    const loss = random.exponential(rate);
    const followed = 2 + 6 * random.uniform();
    let left = 0;
    for (let year = 1; year <= followed; year++) {
      const visit = year + 0.12 * random.normal();
      if (random.uniform() < 0.25) continue;
      if (loss <= visit) return { left, right: visit };
      left = visit;
    }
    return { left, right: null };
  });
}

describe('intervals of the interval-censored curve', () => {
  it.each([
    { patients: 60, rate: 0.15 },
    { patients: 60, rate: 0.03 },
    { patients: 150, rate: 0.15 },
  ])('cover the true survival with $patients patients who lose at $rate a year', ({ patients, rate }) => {
    const counter = coverageCounter();
    for (let seed = 1; seed <= STUDIES; seed++) {
      const times = study(seed, patients, rate);
      const atRisk = YEARS.map((year) => numberAtRisk(times, year));
      const limits = turnbullLimits(times, turnbull(times), YEARS, atRisk, {
        level: 0.95,
        resamples: 100,
        seed,
      });
      if (limits === null) throw new Error('stopped');
      YEARS.forEach((year, i) => {
        const truth = Math.exp(-rate * year);
        counter.note(`${year}`, (limits.lower[i] ?? NaN) <= truth && truth <= (limits.upper[i] ?? NaN));
      });
    }
    for (const { coverage } of counter.rows())
      expect(coverage).toBeGreaterThanOrEqual(leastCoverage(0.95, STUDIES));
  });
});
