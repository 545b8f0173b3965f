import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { fiellerInterval, ratioIsIn, type RatioInput } from './fieller';

const contains = (input: RatioInput, ratio: number, multiplier: number): boolean => {
  const { numerator, denominator, numeratorVariance, denominatorVariance, covariance } = input;
  const variance = numeratorVariance - 2 * ratio * covariance + ratio ** 2 * denominatorVariance;
  return (numerator - ratio * denominator) ** 2 <= multiplier ** 2 * variance;
};

const input = fc
  .record({
    numerator: fc.double({ min: -5, max: 5, noNaN: true }),
    denominator: fc.double({ min: -5, max: 5, noNaN: true }),
    numeratorSd: fc.double({ min: 0.05, max: 3, noNaN: true }),
    denominatorSd: fc.double({ min: 0.05, max: 3, noNaN: true }),
    correlation: fc.double({ min: -0.95, max: 0.95, noNaN: true }),
  })
  .map((r): RatioInput => ({
    numerator: r.numerator,
    denominator: r.denominator,
    numeratorVariance: r.numeratorSd ** 2,
    denominatorVariance: r.denominatorSd ** 2,
    covariance: r.correlation * r.numeratorSd * r.denominatorSd,
  }));

describe("Fieller's set", () => {
  it('holds exactly the ratios that its defining inequality holds', () => {
    fc.assert(
      fc.property(input, fc.double({ min: -20, max: 20, noNaN: true }), (data, ratio) => {
        const set = fiellerInterval(data, 1.96);
        const { numerator, denominator, numeratorVariance, denominatorVariance, covariance } = data;
        const variance = numeratorVariance - 2 * ratio * covariance + ratio ** 2 * denominatorVariance;
        const excess = (numerator - ratio * denominator) ** 2 - 1.96 ** 2 * variance;
        // A ratio at an end of the set to rounding may fall on either side.
        fc.pre(Math.abs(excess) > 1e-9 * (1 + ratio ** 2));
        const inside = ratioIsIn(set, ratio);
        expect(inside).toBe(contains(data, ratio, 1.96));
      }),
      { numRuns: 2000 },
    );
  });

  it('is bounded when the denominator is clearly not zero', () => {
    const set = fiellerInterval(
      { numerator: 3, denominator: 4, numeratorVariance: 0.25, denominatorVariance: 0.25, covariance: 0.1 },
      1.96,
    );
    expect(set.kind).toBe('bounded');
  });

  it('is the whole line when the data say nothing of the ratio', () => {
    const set = fiellerInterval(
      { numerator: 0.1, denominator: 0.1, numeratorVariance: 1, denominatorVariance: 1, covariance: 0 },
      1.96,
    );
    expect(set).toEqual({ kind: 'whole-line' });
  });

  it('is everything outside two ends when only the denominator may be zero', () => {
    const set = fiellerInterval(
      { numerator: 5, denominator: 0.1, numeratorVariance: 0.1, denominatorVariance: 1, covariance: 0 },
      1.96,
    );
    expect(set.kind).toBe('unbounded');
  });

  it('of the inverse ratio holds exactly the inverses', () => {
    fc.assert(
      fc.property(
        input,
        fc.double({ min: 0.05, max: 20, noNaN: true }),
        fc.boolean(),
        (data, size, minus) => {
          const ratio = minus ? -size : size;
          const turned: RatioInput = {
            numerator: data.denominator,
            denominator: data.numerator,
            numeratorVariance: data.denominatorVariance,
            denominatorVariance: data.numeratorVariance,
            covariance: data.covariance,
          };
          const variance =
            data.numeratorVariance - 2 * ratio * data.covariance + ratio ** 2 * data.denominatorVariance;
          const excess = (data.numerator - ratio * data.denominator) ** 2 - 1.96 ** 2 * variance;
          fc.pre(Math.abs(excess) > 1e-9 * (1 + ratio ** 2));
          expect(ratioIsIn(fiellerInterval(turned, 1.96), 1 / ratio)).toBe(
            ratioIsIn(fiellerInterval(data, 1.96), ratio),
          );
        },
      ),
      { numRuns: 1000 },
    );
  });

  // With multiplier 2: denominator^2 = 4 * denominatorVariance exactly, the squared term vanishes and one end is left.
  it.each([
    ['at-least', 8, { kind: 'at-least', lower: 60 / (2 * 16) }],
    ['at-most', -8, { kind: 'at-most', upper: -60 / (2 * 16) }],
  ])('has one end where the limit of the denominator is exactly 0: %s', (_, numerator, set) => {
    const data = { numerator, denominator: 2, numeratorVariance: 1, denominatorVariance: 1, covariance: 0 };
    expect(fiellerInterval(data, 2)).toEqual(set);
    const end = 'lower' in set ? (set.lower ?? NaN) : (set.upper ?? NaN);
    expect(contains(data, end + Math.sign(numerator) * 0.01, 2)).toBe(true);
    expect(contains(data, end - Math.sign(numerator) * 0.01, 2)).toBe(false);
  });

  it('is one point, not the whole line, where both estimates have no error', () => {
    const exact = { numeratorVariance: 0, denominatorVariance: 0, covariance: 0 };
    for (const [numerator, denominator] of [
      [0.1, 0.3],
      [0.7, -0.9],
      [1 / 3, 1.1],
    ] as const) {
      const set = fiellerInterval({ numerator, denominator, ...exact }, 1.96);
      expect(set.kind).toBe('bounded');
      expect(set.kind === 'bounded' && set.lower / (numerator / denominator)).toBeCloseTo(1, 12);
      expect(set.kind === 'bounded' && set.upper / (numerator / denominator)).toBeCloseTo(1, 12);
    }
  });
});
