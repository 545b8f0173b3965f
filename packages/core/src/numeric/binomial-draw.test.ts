import { describe, expect, it } from 'vitest';
import { drawBinomial, drawMultinomial } from './binomial-draw';
import { chiSquaredUpperTail } from './index';
import { createRandom } from './random';

/** Probability of each number of successes, from the factorials themselves. */
function probabilities(size: number, share: number): number[] {
  let logFactorial = 0;
  const logs = [0];
  for (let n = 1; n <= size; n++) logs.push((logFactorial += Math.log(n)));
  return logs.map((log, k) =>
    Math.exp(
      logFactorial - log - (logs[size - k] ?? 0) + k * Math.log(share) + (size - k) * Math.log(1 - share),
    ),
  );
}

describe('numbers of successes', () => {
  it.each([
    { size: 30, share: 0.1 },
    { size: 25, share: 0.5 },
    { size: 60, share: 0.3 },
    { size: 400, share: 0.03 },
    { size: 2000, share: 0.97 },
    { size: 9000, share: 0.0004 },
  ])('have the binomial distribution of $size trials with $share', ({ size, share }) => {
    const random = createRandom(7);
    const draws = 200_000;
    const seen = new Float64Array(size + 1);
    let outside = 0;
    for (let i = 0; i < draws; i++) {
      const successes = drawBinomial(random, size, share);
      const before = seen[successes];
      if (before === undefined) outside++;
      else seen[successes] = before + 1;
    }
    expect(outside).toBe(0);
    // Cells of fewer than 20 expected are put together.
    let statistic = 0;
    let cells = -1;
    let expected = 0;
    let found = 0;
    probabilities(size, share).forEach((probability, k) => {
      expected += draws * probability;
      found += seen[k] ?? 0;
      if (expected < 20) return;
      statistic += (found - expected) ** 2 / expected;
      cells++;
      expected = 0;
      found = 0;
    });
    expect(cells).toBeGreaterThan(5);
    expect(chiSquaredUpperTail(statistic, cells)).toBeGreaterThan(1e-4);
  });

  it('are none of no trials or of no chance, and all where success is sure', () => {
    const random = createRandom(1);
    expect(drawBinomial(random, 0, 0.4)).toBe(0);
    expect(drawBinomial(random, 50, 0)).toBe(0);
    expect(drawBinomial(random, 50, 1)).toBe(50);
  });
});

describe('draws with replacement by their numbers', () => {
  it('add up to all draws, hit nothing that has no ticket, and have mean and variance of drawing one by one', () => {
    const random = createRandom(3);
    const weights = Float64Array.of(1, 0, 900, 40, 3000, 59);
    const size = 4000;
    const drawn = new Float64Array(weights.length);
    const repeats = 20_000;
    const sums = weights.map(() => 0);
    const squares = weights.map(() => 0);
    let otherSums = 0;
    for (let repeat = 0; repeat < repeats; repeat++) {
      drawMultinomial(random, size, weights, drawn);
      if (drawn.reduce((sum, count) => sum + count, 0) !== size) otherSums++;
      drawn.forEach((count, i) => {
        sums[i] = (sums[i] ?? 0) + count;
        squares[i] = (squares[i] ?? 0) + count * count;
      });
    }
    expect(otherSums).toBe(0);
    expect(sums[1]).toBe(0);
    weights.forEach((weight, i) => {
      const mean = (sums[i] ?? NaN) / repeats;
      const variance = (squares[i] ?? NaN) / repeats - mean ** 2;
      const expected = weight * (1 - weight / 4000);
      expect(Math.abs(mean - weight)).toBeLessThanOrEqual(5 * Math.sqrt(expected / repeats));
      expect(Math.abs(variance - expected)).toBeLessThanOrEqual(0.05 * expected);
    });
  });
});
