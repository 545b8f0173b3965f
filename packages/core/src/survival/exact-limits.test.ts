import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { exactLimits, sizeOfLimits } from './exact-limits';

describe('exact limits', () => {
  it('tell how many patients they speak of', () => {
    fc.assert(
      fc.property(fc.double({ min: 0.02, max: 1 }), fc.double({ min: 1.5, max: 1e5 }), (proportion, size) => {
        const { lower } = exactLimits(proportion, size, 0.95);
        fc.pre(lower > 0);
        expect(sizeOfLimits(proportion, lower, 0.95)).toBeCloseTo(size, -Math.log10(size * 2e-5));
      }),
    );
  });

  it('speak of no number where the proportion is 0', () => {
    expect(sizeOfLimits(0, 0, 0.95)).toBeNull();
  });
});
