import { describe, expect, it } from 'vitest';
import { createRandom, normalCumulative } from '../numeric';
import { shareAboveThreshold, type Margin } from './share-above-threshold';

function group(n: number, trueMean: number, trueSd: number, errorSd: number, seed = 3): Margin[] {
  const random = createRandom(seed);
  return Array.from({ length: n }, () => ({
    estimate: trueMean + trueSd * random.normal() + errorSd * random.normal(),
    measurementVariance: errorSd ** 2,
  }));
}

describe('the share above the threshold', () => {
  it('is what it would be without measurement error, however large the error', () => {
    for (const errorSd of [0, 1, 2]) {
      const { corrected } = shareAboveThreshold(group(300_000, 1, 1, errorSd), 0, 0.95);
      expect(corrected?.estimate).toBeCloseTo(normalCumulative(1), 2);
    }
  });

  it('is pulled towards one half as measured', () => {
    const { measured } = shareAboveThreshold(group(40_000, 1, 1, 2), 0, 0.95);
    expect(measured).toBeCloseTo(normalCumulative(1 / Math.sqrt(5)), 2);
  });

  it('by hand: margins 0, 1, 2, 3 with error variance 2/3 have a true variance of 1 and a mean of 1.5', () => {
    const margins = [0, 1, 2, 3].map((estimate) => ({ estimate, measurementVariance: 2 / 3 }));
    expect(shareAboveThreshold(margins, 0, 0.95).corrected?.estimate).toBeCloseTo(normalCumulative(1.5), 12);
  });

  it('covers the true share as often as it claims when margins are normal', () => {
    const studies = 400;
    let covered = 0;
    for (let seed = 1; seed <= studies; seed++) {
      const { corrected } = shareAboveThreshold(group(40, 0.7, 1, 0.8, seed), 0, 0.95);
      const truth = normalCumulative(0.7);
      if (corrected !== null && corrected.limits.lower <= truth && truth <= corrected.limits.upper) covered++;
    }
    expect(covered / studies).toBeGreaterThan(0.95 - 3.5 * Math.sqrt((0.95 * 0.05) / studies));
  });

  it('is wider where the growth curve is uncertain', () => {
    const margins = group(40, 1, 1, 0.5);
    const width = (curveVariance: number): number => {
      const limits = shareAboveThreshold(margins, curveVariance, 0.95).corrected?.limits;
      return limits === undefined ? NaN : limits.upper - limits.lower;
    };
    expect(width(0.2)).toBeGreaterThan(width(0));
  });

  it('is not given where error alone could make all the spread, nor for one or two patients', () => {
    expect(shareAboveThreshold(group(30, 1, 0, 1), 0, 0.95).corrected).toBeNull();
    expect(shareAboveThreshold(group(2, 1, 1, 0.1), 0, 0.95).corrected).toBeNull();
    expect(shareAboveThreshold([], 0, 0.95)).toEqual({ n: 0, measured: null, corrected: null });
  });
});
