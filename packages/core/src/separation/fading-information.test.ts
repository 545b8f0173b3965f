import { describe, expect, it } from 'vitest';
import { createRandom, isRefusal } from '../numeric';
import {
  addFadingInformation,
  fadingInformation,
  NO_FADING_INFORMATION,
  withTauEstimated,
} from './fading-information';
import { fitFadingPart } from './fading-part';
import { inverseInformation } from './patient-information';
import { worthOfFadingRecall } from './worth-of-recall';

const components = { betweenPatients: { lasting: 1.4, both: -0.3, passing: 0.5 }, residualVariance: 0.6 };
const place = { tau: 1.7, passing: 1.2 };

/** Solves a small dense system by elimination with pivots: the slow and obvious way. */
function solve(matrix: readonly (readonly number[])[], right: readonly number[]): number[] {
  const rows = matrix.map((row, i) => [...row, right[i] ?? NaN]);
  const at = (i: number, j: number): number => rows[i]?.[j] ?? NaN;
  const size = rows.length;
  for (let column = 0; column < size; column++) {
    let pivot = column;
    for (let i = column; i < size; i++) if (Math.abs(at(i, column)) > Math.abs(at(pivot, column))) pivot = i;
    const [a, b] = [rows[column] ?? [], rows[pivot] ?? []];
    [rows[column], rows[pivot]] = [b, a];
    for (let i = 0; i < size; i++) {
      if (i === column) continue;
      const factor = at(i, column) / at(column, column);
      rows[i] = (rows[i] ?? []).map((value, j) => value - factor * at(column, j));
    }
  }
  return rows.map((_, i) => at(i, size) / at(i, i));
}

/** X' V^-1 X from whole matrices, X = [1, fade, slope by tau]. */
function denseInformation(times: readonly number[]): number[][] {
  const { lasting, both, passing } = components.betweenPatients;
  const fade = times.map((time) => Math.exp(-time / place.tau));
  const slope = times.map((time, i) => ((place.passing * time) / place.tau ** 2) * (fade[i] ?? NaN));
  const columns = [times.map(() => 1), fade, slope];
  const variance = times.map((_, i) =>
    times.map((_other, j) => {
      const [x, y] = [fade[i] ?? NaN, fade[j] ?? NaN];
      return lasting + both * (x + y) + passing * x * y + (i === j ? components.residualVariance : 0);
    }),
  );
  return columns.map((left) =>
    columns.map((right) => solve(variance, right).reduce((sum, v, i) => sum + v * (left[i] ?? NaN), 0)),
  );
}

/** Variance of T with all three parameters estimated: the first entry of the inverse. */
function denseVariance(all: readonly (readonly number[])[]): number {
  const sum = all
    .map((times) => denseInformation(times))
    .reduce((a, b) => a.map((row, i) => row.map((value, j) => value + (b[i]?.[j] ?? NaN))));
  return solve(sum, [1, 0, 0])[0] ?? NaN;
}

const patients = [
  [0, 1, 2, 3.1],
  [0, 0.9, 4.8],
  [0, 2.2],
  [0, 1.1, 1.9, 2.9, 4, 5.2],
];
const totalOf = (all: readonly (readonly number[])[]) =>
  all.reduce(
    (sum, times) => addFadingInformation(sum, fadingInformation(times, place, components)),
    NO_FADING_INFORMATION,
  );

describe('what gains tell of a fading part whose speed is not known', () => {
  it('is that of whole matrices', () => {
    for (const times of patients) {
      const found = fadingInformation(times, place, components);
      const dense = denseInformation(times);
      expect(found.parts.lasting).toBeCloseTo(dense[0]?.[0] ?? NaN, 10);
      expect(found.parts.both).toBeCloseTo(dense[0]?.[1] ?? NaN, 10);
      expect(found.parts.passing).toBeCloseTo(dense[1]?.[1] ?? NaN, 10);
      expect(found.lastingTau).toBeCloseTo(dense[0]?.[2] ?? NaN, 10);
      expect(found.passingTau).toBeCloseTo(dense[1]?.[2] ?? NaN, 10);
      expect(found.tau).toBeCloseTo(dense[2]?.[2] ?? NaN, 10);
    }
    const variance = inverseInformation(withTauEstimated(totalOf(patients)))?.lasting ?? NaN;
    expect(variance).toBeCloseTo(denseVariance(patients), 10);
  });

  it('leaves T less sure than a speed that is known would', () => {
    const total = totalOf(patients);
    const known = inverseInformation(total.parts)?.lasting ?? NaN;
    const estimated = inverseInformation(withTauEstimated(total))?.lasting ?? NaN;
    expect(estimated).toBeGreaterThan(known * 1.05);
  });

  it('weighs one more visit as whole matrices do', () => {
    const own = patients[2] ?? [];
    const worth = worthOfFadingRecall(totalOf(patients), own, 6, place, components);
    const longer = patients.map((times) => (times === own ? [...times, 6] : times));
    expect(worth?.standardErrorNow).toBeCloseTo(Math.sqrt(denseVariance(patients)), 10);
    expect(worth?.standardErrorThen).toBeCloseTo(Math.sqrt(denseVariance(longer)), 10);
    expect(worth?.fall).toBeGreaterThan(0.01);
  });

  it('agrees with the standard error and the limits that a fit of many invented patients has', () => {
    const random = createRandom(4);
    const series = { patient: [] as string[], time: [] as number[], gain: [] as number[] };
    const all = Array.from({ length: 400 }, (_, i) => {
      const [lasting, passing] = [2.5 + 1.1 * random.normal(), 1.5 + 0.4 * random.normal()];
      const times = [0, 1, 2, 3, 4, 5].map((year) =>
        year === 0 ? 0 : year + 0.2 * (random.uniform() - 0.5),
      );
      for (const time of times) {
        series.patient.push(`P${i}`);
        series.time.push(time);
        series.gain.push(lasting + passing * Math.exp(-time / 1.5) + 0.5 * random.normal());
      }
      return times;
    });
    const fit = fitFadingPart(series);
    if (isRefusal(fit)) throw new Error(fit.message);
    const at = { tau: fit.tau, passing: fit.passing.estimate };
    const found = { betweenPatients: fit.betweenPatients, residualVariance: fit.residualSd ** 2 };
    const total = all.reduce(
      (sum, times) => addFadingInformation(sum, fadingInformation(times, at, found)),
      NO_FADING_INFORMATION,
    );
    // The fit's standard error is that at the best tau; its limits are taken over all taus that the data leave open.
    const known = Math.sqrt(inverseInformation(total.parts)?.lasting ?? NaN);
    expect(known).toBeCloseTo(fit.lasting.standardError, 6);
    const estimated = Math.sqrt(inverseInformation(withTauEstimated(total))?.lasting ?? NaN);
    const half = ((fit.lasting.upper ?? NaN) - (fit.lasting.lower ?? NaN)) / 2;
    expect((1.96 * estimated) / half).toBeGreaterThan(0.93);
    expect((1.96 * estimated) / half).toBeLessThan(1.07);
  });
});
