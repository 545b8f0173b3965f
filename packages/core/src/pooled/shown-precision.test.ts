import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { coarseRange, significant, stepped, steppedCount } from './shown-precision';

describe('how exactly members are told what is in a pool', () => {
  it('is to the nearest multiple of the smallest cell for numbers of patients', () => {
    expect([44, 45, 54, 55, null].map((count) => steppedCount(count, 10))).toEqual([40, 50, 50, 60, null]);
  });

  it('is what is printed for values, as the double nearest to it', () => {
    expect([stepped(0.845540948, 0.01), stepped(-0.434, 0.1), stepped(0.29, 0.05)]).toEqual([
      0.85, -0.4, 0.3,
    ]);
    expect([significant(0.0384, 1), significant(0, 1), significant(12.46, 2)]).toEqual([0.04, 0, 12]);
  });

  it('is a range that holds the share and leaves open at least as many patients as the smallest cell', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 10, max: 5_000 }),
        fc.integer({ min: 1, max: 10 }),
        fc.double({ min: 0, max: 1, noNaN: true }),
        (patients, smallestCell, fraction) => {
          const lost = Math.round(fraction * patients);
          const share = 1 - lost / patients;
          const { lower, upper } = coarseRange(share, patients, smallestCell);
          expect(lower).toBeGreaterThanOrEqual(0);
          expect(upper).toBeLessThanOrEqual(1);
          expect(share).toBeGreaterThanOrEqual(lower - 1e-9);
          expect(share).toBeLessThanOrEqual(upper + 1e-9);
          if (lower > 0) expect((upper - lower) * patients).toBeGreaterThanOrEqual(smallestCell - 1e-9);
        },
      ),
    );
  });

  it('tells few losses and no loss by the same range', () => {
    expect(coarseRange(1, 185, 10)).toEqual({ lower: 0.94, upper: 1 });
    expect(coarseRange(1 - 9 / 185, 185, 10)).toEqual({ lower: 0.94, upper: 1 });
  });
});
