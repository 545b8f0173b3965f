import { describe, expect, it } from 'vitest';
import { exactLimits } from '../exact-limits';
import { createRandom } from '../../numeric';
import { areaLimits } from './area-limits';

const QUARTERS = Array.from({ length: 12 }, (_, i) => i);
const RESAMPLES = 4000;

/** Heights that lie 0.1 about 0.8, all moving together or each for itself. */
function heights(together: boolean) {
  const random = createRandom(3);
  const common = Array.from({ length: RESAMPLES }, () => random.normal());
  const draws = QUARTERS.map(() => common.map((one) => 0.8 + 0.05 * (together ? one : random.normal())));
  return {
    step: 0.25,
    survival: QUARTERS.map(() => 0.8),
    lower: QUARTERS.map(() => 0.7),
    upper: QUARTERS.map(() => 0.9),
    draws,
  };
}

describe('limits of the area under a curve', () => {
  it('are the areas under its limits where all heights rise and fall together', () => {
    // From 1 at the start along straight lines: 2.875 of the 3 years have weight.
    const { lower, upper } = areaLimits(2.4, heights(true));
    expect(lower).toBeCloseTo(2.4 - 0.1 * 2.875, 9);
    expect(upper).toBeCloseTo(2.4 + 0.1 * 2.875, 9);
  });

  it('are nearer by the root of the number of heights where each moves for itself', () => {
    const { lower } = areaLimits(2.4, heights(false));
    // Weights: eleven quarters and half a one. Root of the sum of squares over the sum, by hand.
    const apart = Math.sqrt(11 * 0.25 ** 2 + 0.125 ** 2);
    expect(2.4 - lower).toBeCloseTo(0.1 * apart, 2);
  });

  it('leave room where nobody was lost: all of 31 patients kept the gain for three years', () => {
    const { lower: limit } = exactLimits(1, 31, 0.95);
    const ones = QUARTERS.map(() => 1);
    const draws = QUARTERS.map(() => [1, 1, 1]);
    const area = { step: 0.25, survival: ones, lower: ones.map(() => limit), upper: ones, draws };
    const { lower, upper } = areaLimits(3, area);
    expect(upper).toBe(3);
    // Exact limit of 31 of 31: 0.025^(1/31).
    expect(3 - lower).toBeCloseTo(2.875 * (1 - 0.025 ** (1 / 31)), 9);
  });
});
