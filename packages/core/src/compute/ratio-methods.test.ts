import { describe, expect, it } from 'vitest';
import { findMethod } from '.';

describe('fieller-interval', () => {
  it('refuses a denominator that is 0 without error, whose set of ratios is empty, and takes one that may not be 0', () => {
    const call = (denominatorVariance: number): unknown =>
      findMethod('fieller-interval')?.call({
        numerator: 5,
        denominator: 0,
        numeratorVariance: 0.1,
        denominatorVariance,
      });
    expect(call(0)).toHaveProperty('fault.refused', 'zero-denominator');
    expect(call(1)).toHaveProperty('answer.ratio', null);
    expect(call(1)).toHaveProperty('answer.set.kind', 'unbounded');
  });
});
