import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  acceleratedLimits,
  bootstrapQuantile,
  bootstrapReplicates,
  jackknifeAcceleration,
  percentileLimits,
} from './bootstrap';
import { normalQuantile } from './distributions';
import { createRandom } from './random';

const hundred = Array.from({ length: 99 }, (_, i) => i + 1);

describe('bootstrap replicates', () => {
  it('are the same for the same seed and come in rising order', () => {
    const draw = (seed: number): number[] =>
      Array.from(
        bootstrapReplicates(6, 50, createRandom(seed), (rows) => (rows[0] ?? 0) - (rows[5] ?? 0)).values,
      );
    expect(draw(3)).toEqual(draw(3));
    expect(draw(3)).not.toEqual(draw(4));
    expect([...draw(3)].sort((a, b) => a - b)).toEqual(draw(3));
  });

  it('leave out and count the samples in which the statistic is not defined', () => {
    let calls = 0;
    const drawn = bootstrapReplicates(3, 40, createRandom(1), () => {
      calls++;
      if (calls % 4 === 0) return null;
      return calls % 4 === 1 ? NaN : 5;
    });
    expect(drawn.undefinedCount).toBe(20);
    expect(drawn.values).toHaveLength(20);
  });
});

describe('a bootstrap quantile', () => {
  it('is the order statistic (R + 1) p where that is whole', () => {
    expect(bootstrapQuantile(hundred, 0.25)).toBe(25);
    expect(bootstrapQuantile(hundred, 0.97)).toBeCloseTo(97, 12);
  });

  it('lies between two order statistics where the normal scale has it', () => {
    const z = normalQuantile;
    const expected = 2 + (z(0.025) - z(0.02)) / (z(0.03) - z(0.02));
    expect(bootstrapQuantile(hundred, 0.025)).toBeCloseTo(expected, 12);
  });

  it('is the outermost replicate where there are too few, and says so', () => {
    expect(percentileLimits([1, 2, 3], 0.95)).toEqual({ lower: 1, upper: 3, atExtreme: true });
    expect(percentileLimits(hundred, 0.9).atExtreme).toBe(false);
  });
});

describe('bias-corrected and accelerated limits', () => {
  it('are the percentile limits without bias and acceleration', () => {
    const limits = acceleratedLimits(hundred, 50, 0, 0.9);
    const { lower, upper } = percentileLimits(hundred, 0.9);
    expect(limits?.biasCorrection).toBe(0);
    expect(limits?.lower).toBeCloseTo(lower, 10);
    expect(limits?.upper).toBeCloseTo(upper, 10);
  });

  it('count half of the replicates that equal the estimate as below it', () => {
    const ties = [1, 2, 2, 2, 2, 2, 3];
    expect(acceleratedLimits(ties, 2, 0, 0.5)?.biasCorrection).toBe(0);
  });

  it('are null where all replicates lie on one side of the estimate', () => {
    expect(acceleratedLimits(hundred, 1000, 0, 0.95)).toBeNull();
    expect(acceleratedLimits([], 1, 0, 0.95)).toBeNull();
  });

  it('follow a rising map of the statistic', () => {
    fc.assert(
      fc.property(
        fc.double({ min: -0.2, max: 0.2, noNaN: true }),
        fc.integer({ min: 20, max: 80 }),
        (a, estimate) => {
          // Whole ranks only: between two order statistics interpolation is not carried by the map.
          const plain = acceleratedLimits(hundred, estimate, a, 0.8);
          const mapped = acceleratedLimits(hundred.map(Math.exp), Math.exp(estimate), a, 0.8);
          const within = (value: number, image: number): boolean =>
            image >= Math.exp(Math.floor(value)) * (1 - 1e-9) &&
            image <= Math.exp(Math.ceil(value)) * (1 + 1e-9);
          expect(within(plain?.lower ?? NaN, mapped?.lower ?? NaN)).toBe(true);
          expect(within(plain?.upper ?? NaN, mapped?.upper ?? NaN)).toBe(true);
        },
      ),
    );
  });

  it('take the acceleration from the skewness of leave-one-out values, 0 where they are symmetrical or equal', () => {
    expect(jackknifeAcceleration([1, 2, 3])).toBe(0);
    expect(jackknifeAcceleration([4, 4, 4])).toBe(0);
    expect(jackknifeAcceleration([0.8, 0.8, 0.8 + 2e-16])).toBe(0);
    // Deviations of the mean 2 from 1, 1, 1, 5: 1, 1, 1, -3; cubes -24, squares 12.
    expect(jackknifeAcceleration([1, 1, 1, 5])).toBeCloseTo(-24 / (6 * 12 ** 1.5), 12);
  });
});
