import { describe, expect, it } from 'vitest';
import { createRandom, isRefusal } from '../../numeric';
import { awkwardSample, KIND_NAMES } from './awkward-samples.fixture';
import { innermostIntervals, orderSample } from './innermost-intervals';
import { countsOf, type IntervalTimes } from './interval-times';
import { emptySkyline, solveSkyline } from './skyline';
import { turnbullCurve } from './turnbull';

/** The log-likelihood after many plain EM rounds (Turnbull 1976), the slow way to the same place. */
function afterEm(times: IntervalTimes, rounds: number): number {
  const { first, last, left } = innermostIntervals(orderSample(times), countsOf(times));
  let masses = Array.from({ length: left.length }, () => 1 / left.length);
  let logLikelihood = -Infinity;
  for (let round = 0; round < rounds; round++) {
    const next = masses.map(() => 0);
    logLikelihood = 0;
    first.forEach((from, i) => {
      const covered = masses.slice(from, (last[i] ?? 0) + 1);
      const p = covered.reduce((sum, mass) => sum + mass, 0);
      logLikelihood += Math.log(p);
      covered.forEach((mass, k) => (next[from + k] = (next[from + k] ?? 0) + mass / p / first.length));
    });
    masses = next;
  }
  return logLikelihood;
}

describe.each(KIND_NAMES)("Turnbull's curve, %s", (kind) => {
  it('proves its maximum to 1e-9 for 400 samples of 1 to 60 patients', () => {
    for (let seed = 1; seed <= 400; seed++) {
      const fit = turnbullCurve(awkwardSample(kind, 1 + createRandom(seed).integer(60), seed));
      if (isRefusal(fit)) throw new Error(fit.message);
      expect(fit.optimalityGap, `seed ${seed}`).toBeLessThanOrEqual(1e-9);
      expect(fit.intervals.reduce((sum, { mass }) => sum + mass, 0)).toBeCloseTo(1, 12);
    }
  });

  it.each([300, 3000])('proves it for %i patients', (size) => {
    const fit = turnbullCurve(awkwardSample(kind, size, 5));
    if (isRefusal(fit)) throw new Error(fit.message);
    expect(fit.optimalityGap).toBeLessThanOrEqual(1e-9);
  });

  it('is as likely as what 3,000 rounds of plain EM come to', () => {
    for (let seed = 1; seed <= 5; seed++) {
      const sample = awkwardSample(kind, 40, seed);
      const fit = turnbullCurve(sample);
      if (isRefusal(fit)) throw new Error(fit.message);
      const slow = afterEm(sample, 3000);
      expect(fit.logLikelihood).toBeGreaterThanOrEqual(slow - 1e-9 * Math.abs(slow));
      // EM comes near from below and is slow where masses go to zero.
      expect(fit.logLikelihood - slow).toBeLessThan(0.01);
    }
  });
});

describe("Turnbull's curve from columns", () => {
  it('takes counts for as many patients', () => {
    const { left, right } = awkwardSample('whole numbers with ties', 20, 3);
    const count = Array.from({ length: 20 }, (_, i) => i % 4);
    const repeat = (values: ArrayLike<number>): number[] =>
      count.flatMap((n, i) => Array.from({ length: n }, () => values[i] ?? NaN));
    const counted = turnbullCurve({ left, right, count });
    const written = turnbullCurve({ left: repeat(left), right: repeat(right) });
    if (isRefusal(counted) || isRefusal(written)) throw new Error('refused');
    expect(counted.observations).toBe(written.observations);
    expect(counted.logLikelihood).toBeCloseTo(written.logLikelihood, 10);
    expect(counted.intervals.length).toBe(written.intervals.length);
    counted.intervals.forEach(({ mass }, j) =>
      expect(mass).toBeCloseTo(written.intervals[j]?.mass ?? NaN, 9),
    );
  });

  it.each<[string, IntervalTimes, string]>([
    ['no times', { left: [], right: [] }, 'no-data'],
    ['nobody counted', { left: [1], right: [2], count: [0] }, 'no-data'],
    ['columns of two lengths', { left: [1, 2], right: [3] }, 'wrong-length'],
    ['counts of another length', { left: [1], right: [2], count: [1, 1] }, 'wrong-length'],
    ['NaN at the left', { left: [NaN], right: [2] }, 'wrong-value'],
    ['NaN at the right', { left: [1], right: [NaN] }, 'wrong-value'],
    ['a negative time', { left: [-1], right: [2] }, 'wrong-value'],
    ['an infinite left end', { left: [Infinity], right: [Infinity] }, 'wrong-value'],
    ['a negative count', { left: [1], right: [2], count: [-1] }, 'wrong-value'],
    ['left above right', { left: [3], right: [2] }, 'not-an-interval'],
  ])('refuses %s', (_, times, code) => {
    const fit = turnbullCurve(times);
    expect(isRefusal(fit) ? fit.refused : fit).toBe(code);
  });

  it('puts all mass after the last visit when nobody was seen with the event', () => {
    const fit = turnbullCurve({ left: [2, 3, 1], right: [Infinity, Infinity, Infinity] });
    expect(fit).toMatchObject({ intervals: [{ left: 3, right: Infinity, mass: 1 }], converged: true });
  });
});

describe('a system inside its skyline', () => {
  it('has the solution it was made from', () => {
    const random = createRandom(4);
    const size = 12;
    const start = Int32Array.from({ length: size }, (_, row) => random.integer(row + 1));
    const matrix = emptySkyline(start);
    const dense = Array.from({ length: size }, () => new Float64Array(size));
    const x = Float64Array.from({ length: size }, () => random.normal());
    for (let row = 0; row < size; row++) {
      for (let column = start[row] ?? 0; column <= row; column++) {
        const value = row === column ? 10 : random.normal() / 2;
        matrix.values[(matrix.offset[row] ?? 0) + column - (start[row] ?? 0)] = value;
        (dense[row] ?? [])[column] = value;
        (dense[column] ?? [])[row] = value;
      }
    }
    const b = Float64Array.from(dense, (line) =>
      line.reduce((sum, value, k) => sum + value * (x[k] ?? 0), 0),
    );
    solveSkyline(matrix, b);
    b.forEach((value, k) => expect(value).toBeCloseTo(x[k] ?? NaN, 10));
  });
});
