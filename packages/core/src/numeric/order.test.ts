import { describe, expect, it } from 'vitest';
import fc from 'fast-check';
import { risingOrder } from './order';

/** The slow, obvious version. */
function slowOrder(values: readonly number[]): number[] {
  return values.map((_, i) => i).sort((a, b) => (values[a] ?? 0) - (values[b] ?? 0) || a - b);
}

const numbers = fc.array(
  fc.oneof(
    fc.double({ noNaN: true, noDefaultInfinity: true }),
    fc.integer({ min: -3, max: 3 }),
    fc.constant(-0),
  ),
);

describe('rising order', () => {
  it('is that of a stable comparison sort, for short columns', () => {
    fc.assert(
      fc.property(numbers, (values) => {
        expect([...risingOrder(values)]).toEqual(slowOrder(values));
      }),
    );
  });

  it('is the same for long columns with ties, negative values, both zeros and very large and small values', () => {
    fc.assert(
      fc.property(fc.array(fc.constantFrom(...awkward), { minLength: 5000, maxLength: 6000 }), (values) => {
        expect([...risingOrder(values)]).toEqual(slowOrder(values));
      }),
      { numRuns: 10 },
    );
  });

  it('is found for a long column of equal values', () => {
    const values = new Array<number>(10_000).fill(7);
    expect([...risingOrder(values)]).toEqual(slowOrder(values));
  });
});

const awkward = [0, -0, 1, -1, 1e-300, -1e-300, 1e300, -1e300, 0.1, 0.2, 0.1 + 0.2, 0.3, 5e-324, 365.25, 366];
