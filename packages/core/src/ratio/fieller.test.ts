import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { fiellerInterval, type RatioInput } from './fieller';

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
        const near =
          set.kind !== 'whole-line' &&
          Math.min(Math.abs(ratio - set.lower), Math.abs(ratio - set.upper)) < 1e-6;
        fc.pre(!near);
        const inside =
          set.kind === 'whole-line' ||
          (set.kind === 'bounded'
            ? ratio >= set.lower && ratio <= set.upper
            : ratio <= set.lower || ratio >= set.upper);
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
});
