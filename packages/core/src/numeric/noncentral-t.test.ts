import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { studentCumulative, studentQuantile } from './distributions';
import {
  noncentralStudentCumulative,
  noncentralStudentQuantile,
  noncentralStudentUpperTail,
} from './noncentral-t';

describe('the noncentral t distribution', () => {
  it("is Student's where the noncentrality is 0", () => {
    for (const df of [1, 3, 20, 500]) {
      for (const t of [-6, -1, 0, 0.4, 3]) {
        expect(noncentralStudentCumulative(t, df, 0) / studentCumulative(t, df)).toBeCloseTo(1, 11);
      }
      expect(noncentralStudentQuantile(0.975, df, 0) / studentQuantile(0.975, df)).toBeCloseTo(1, 11);
    }
  });

  it('has tails that add up to 1 and a quantile that undoes them', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0.001, max: 0.999, noNaN: true }),
        fc.double({ min: 0.6, max: 400, noNaN: true }),
        fc.double({ min: -45, max: 45, noNaN: true }),
        (p, df, ncp) => {
          const t = noncentralStudentQuantile(p, df, ncp);
          const lower = noncentralStudentCumulative(t, df, ncp);
          expect(Math.abs(lower / p - 1)).toBeLessThan(1e-9);
          expect(Math.abs(lower + noncentralStudentUpperTail(t, df, ncp) - 1)).toBeLessThan(1e-11);
        },
      ),
      { numRuns: 200 },
    );
  });

  it('is its own mirror image', () => {
    expect(noncentralStudentCumulative(-2, 7, -3)).toBeCloseTo(noncentralStudentUpperTail(2, 7, 3), 14);
  });

  it('keeps its digits where the probability is next to nothing', () => {
    // Beyond the reach of any sum of probabilities near 1: rises with t, never 0.
    const far = [-9, -7, -5, -3].map((t) => noncentralStudentCumulative(t, 3, 10));
    expect(far[0]).toBeGreaterThan(0);
    expect([...far].sort((a, b) => a - b)).toEqual(far);
  });
});
