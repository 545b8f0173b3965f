import { describe, expect, it } from 'vitest';
import { isRefusal } from '../../numeric';
import { kaplanMeier } from '../right-censored/kaplan-meier';
import { survivalAt } from './curve-readings';
import { turnbull } from './turnbull';
import type { CensoredInterval } from './innermost-intervals';

// Radiotherapy arm of Finkelstein and Wolfe 1985 (n = 46), months to cosmetic deterioration.
const ARM =
  '45+ 25-37 37+ 6-10 46+ 0-5 0-7 26-40 18+ 46+ 46+ 24+ 46+ 27-34 36+ 7-16 36-44 5-11 17+ 46+ 19-35 7-14 36-48 17-25 37-44 37+ 24+ 0-8 40+ 32+ 4-11 17-25 33+ 15+ 46+ 19-26 11-15 11-18 37+ 22+ 38+ 34+ 46+ 5-12 36+ 46+';

export const radiotherapy: CensoredInterval[] = ARM.split(' ').map((text) => {
  const [left, right] = text.replace('+', '').split('-').map(Number);
  return { left: left ?? NaN, right: right ?? null };
});

describe("Turnbull's curve", () => {
  it('gives the printed survival of the radiotherapy arm (Finkelstein and Wolfe 1985)', () => {
    const fit = turnbull(radiotherapy);
    const printed: [number, number][] = [
      [5, 0.954],
      [7, 0.92],
      [8, 0.832],
      [12, 0.761],
      [25, 0.668],
      [34, 0.586],
      [40, 0.467],
      [48, 0],
    ];
    expect(fit.converged).toBe(true);
    for (const [time, survival] of printed) expect(survivalAt(fit, time).survival).toBeCloseTo(survival, 2);
  });

  it('equals Kaplan-Meier when every time is exact or right-censored', () => {
    const times = [6, 6, 6, -6, 7, -9, 10, -10, -11, 13, 16, -17, -19, -20, 22, 23, -25, -32, -32, -34, -35];
    const fit = turnbull(times.map((t) => (t > 0 ? { left: t, right: t } : { left: -t, right: null })));
    const curve = kaplanMeier({ time: times.map(Math.abs), event: times.map((t) => (t > 0 ? 1 : 0)) });
    if (isRefusal(curve)) throw new Error(curve.message);
    curve.time.forEach((time, step) => {
      expect(survivalAt(fit, time).survival).toBeCloseTo(curve.survival[step] ?? NaN, 9);
    });
  });
});
