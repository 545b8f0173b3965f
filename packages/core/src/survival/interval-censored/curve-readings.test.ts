import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { isRefusal } from '../../numeric';
import { awkwardSample, KIND_NAMES } from './awkward-samples.fixture';
import { quantilePlace, restrictedMeanBounds, survivalAt } from './curve-readings';
import { turnbullCurve } from './turnbull';
import { turnbullBootstrap } from './turnbull-interval';

const curve = {
  intervals: [
    { left: 1, right: 2, mass: 0.25 },
    { left: 4, right: 4, mass: 0.25 },
    { left: 5, right: 6, mass: 0 },
    { left: 6, right: Infinity, mass: 0.5 },
  ],
};
const fits = fc
  .tuple(fc.constantFrom(...KIND_NAMES), fc.integer({ min: 1, max: 40 }), fc.nat(1000))
  .map(([kind, size, seed]) => {
    const fit = turnbullCurve(awkwardSample(kind, size, seed));
    if (isRefusal(fit)) throw new Error(fit.message);
    return fit;
  });

describe('a quantile of the curve', () => {
  it('lies in the interval in which the share is reached', () => {
    expect(quantilePlace(curve, 0.2)).toEqual({ after: 1, by: 2 });
    expect(quantilePlace(curve, 0.25)).toEqual({ after: 1, by: 2 });
    expect(quantilePlace(curve, 0.5)).toEqual({ after: 4, by: 4 });
    expect(quantilePlace(curve, 0.51)).toEqual({ after: 6, by: null });
  });

  it('has the curve above its share before and at most there after', () => {
    fc.assert(
      fc.property(fits, fc.double({ min: 0.01, max: 0.99, noNaN: true }), (fit, share) => {
        const { after, by } = quantilePlace(fit, share);
        const before = fit.intervals
          .filter(({ right }) => right <= after)
          .reduce((sum, { mass }) => sum + mass, 0);
        if (by !== after) expect(before).toBeLessThan(share + 1e-9);
        if (by !== null) expect(survivalAt(fit, by).survival).toBeLessThanOrEqual(1 - share + 1e-8);
      }),
    );
  });
});

describe('the restricted mean', () => {
  it('is the area under the curve, with its bounds', () => {
    const { mean, lower, upper } = restrictedMeanBounds(curve, 10);
    expect(mean).toBeCloseTo(0.25 * 1.5 + 0.25 * 4 + 0.5 * 10, 12);
    expect(lower).toBeCloseTo(0.25 * 1 + 0.25 * 4 + 0.5 * 6, 12);
    expect(upper).toBeCloseTo(0.25 * 2 + 0.25 * 4 + 0.5 * 10, 12);
    // Half of the first interval: the curve falls from 1 to 0.875.
    expect(restrictedMeanBounds(curve, 1.5).mean).toBeCloseTo(1 + 0.5 * 0.9375, 12);
  });

  it('equals the integral of the curve as it is read', () => {
    fc.assert(
      fc.property(fits, fc.double({ min: 0.1, max: 12, noNaN: true }), (fit, until) => {
        const edges = [0, until, ...fit.intervals.flatMap(({ left, right }) => [left, right])]
          .filter((time) => time <= until)
          .sort((a, b) => a - b);
        let area = 0;
        edges.slice(1).forEach((to, k) => {
          area += (to - (edges[k] ?? 0)) * survivalAt(fit, ((edges[k] ?? 0) + to) / 2).survival;
        });
        const { mean, lower, upper } = restrictedMeanBounds(fit, until);
        expect(mean).toBeCloseTo(area, 9);
        expect(lower).toBeLessThanOrEqual(mean + 1e-9);
        expect(upper).toBeGreaterThanOrEqual(mean - 1e-9);
      }),
    );
  });
});

describe('the bootstrap of the curve', () => {
  const times = awkwardSample('two visits at continuous times', 40, 9);
  const options = { level: 0.9, resamples: 100, seed: 5 };

  it('gives the same limits for the same seed and others for another', () => {
    const once = turnbullBootstrap(times, [1, 3], options);
    expect(turnbullBootstrap(times, [1, 3], options)).toEqual(once);
    expect(turnbullBootstrap(times, [1, 3], { ...options, seed: 6 })).not.toEqual(once);
  });

  it('reads times in any order, with limits around the curve and inside 0 and 1', () => {
    const result = turnbullBootstrap(times, [3, 0.5, 1, 0, 20], options);
    const rising = turnbullBootstrap(times, [0, 0.5, 1, 3, 20], options);
    if (isRefusal(result) || isRefusal(rising)) throw new Error('refused');
    expect([...result.values].sort((a, b) => a.time - b.time)).toEqual(rising.values);
    for (const { survival, exact, percentile, standardError } of result.values) {
      expect(exact.lower).toBeLessThanOrEqual(survival);
      expect(exact.upper).toBeGreaterThanOrEqual(survival);
      for (const limit of [exact.lower, exact.upper, percentile.lower, percentile.upper]) {
        expect(limit).toBeGreaterThanOrEqual(0);
        expect(limit).toBeLessThanOrEqual(1);
      }
      expect(standardError).toBeLessThan(0.2);
    }
    expect(rising.values[0]).toMatchObject({
      survival: 1,
      atRisk: 40,
      standardError: 0,
      exact: { upper: 1 },
    });
  });

  it('is never certain where nobody was seen with the event', () => {
    const result = turnbullBootstrap(
      { left: [2, 2, 2], right: [Infinity, Infinity, Infinity] },
      [1],
      options,
    );
    if (isRefusal(result)) throw new Error(result.message);
    // 3 of 3: the lower exact limit is 0.05^(1/3).
    expect(result.values[0]?.exact.lower).toBeCloseTo(0.05 ** (1 / 3), 10);
  });

  it('refuses counts of parts of patients, and more patients than can be drawn', () => {
    expect(
      turnbullBootstrap({ ...times, count: Array.from(times.left, () => 0.5) }, [1], options),
    ).toMatchObject({ refused: 'not-whole' });
    expect(turnbullBootstrap({ left: [1], right: [2], count: [1e9] }, [1], options)).toMatchObject({
      refused: 'too-many',
    });
    expect(turnbullBootstrap(times, [-1], options)).toMatchObject({ refused: 'wrong-value' });
  });
});
