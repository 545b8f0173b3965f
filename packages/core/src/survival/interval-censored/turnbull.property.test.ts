import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { CensoredInterval } from './innermost-intervals';
import { isRefusal } from '../../numeric';
import { kaplanMeier } from '../right-censored/kaplan-meier';
import { survivalAt } from './curve-readings';
import { turnbull } from './turnbull';

const interval = fc
  .tuple(fc.integer({ min: 0, max: 20 }), fc.integer({ min: 0, max: 6 }), fc.boolean())
  .map(([left, width, seen]): CensoredInterval => ({
    left: left / 2,
    right: seen ? (left + width) / 2 : null,
  }));
const sample = fc.array(interval, { minLength: 1, maxLength: 40 });
const times = Array.from({ length: 30 }, (_, i) => i / 2 + 0.25);

describe("Turnbull's curve, on any data", () => {
  it('has masses that sum to one and a survival that never rises', () => {
    fc.assert(
      fc.property(sample, (data) => {
        const fit = turnbull(data);
        expect(fit.intervals.reduce((sum, { mass }) => sum + mass, 0)).toBeCloseTo(1, 9);
        const curve = times.map((time) => survivalAt(fit, time).survival);
        curve.forEach((value, i) => expect(value).toBeLessThanOrEqual((curve[i - 1] ?? 1) + 1e-9));
      }),
    );
  });

  it('proves its maximum by the Karush-Kuhn-Tucker conditions', () => {
    fc.assert(
      fc.property(sample, (data) => {
        expect(turnbull(data).converged).toBe(true);
      }),
    );
  });

  it('does not depend on the order of patients, nor on counting each of them twice', () => {
    fc.assert(
      fc.property(sample, (data) => {
        const once = turnbull(data).logLikelihood / data.length;
        expect(turnbull([...data].reverse()).logLikelihood / data.length).toBeCloseTo(once, 7);
        expect(turnbull([...data, ...data]).logLikelihood / (2 * data.length)).toBeCloseTo(once, 7);
      }),
    );
  });

  it('is at least as likely as any other curve on the same intervals', () => {
    fc.assert(
      fc.property(
        sample,
        fc.array(fc.double({ min: 0.01, max: 1, noNaN: true }), { minLength: 60, maxLength: 60 }),
        (data, raw) => {
          const fit = turnbull(data);
          const total = fit.intervals.reduce((sum, _, j) => sum + (raw[j] ?? 0), 0);
          const other = fit.intervals.map((piece, j) => ({ ...piece, mass: (raw[j] ?? 0) / total }));
          const likelihood = data.reduce((sum, { left, right }) => {
            const end = right ?? Infinity;
            const inside = other.filter((piece) =>
              left === right
                ? piece.left === left && piece.right === left
                : piece.left >= left && piece.right <= end && piece.right > left,
            );
            return sum + Math.log(inside.reduce((p, { mass }) => p + mass, 0));
          }, 0);
          expect(fit.logLikelihood).toBeGreaterThanOrEqual(likelihood - 1e-7 * data.length);
        },
      ),
    );
  });

  it('equals Kaplan-Meier when every time is exact or right-censored', () => {
    const exact = fc.array(fc.tuple(fc.integer({ min: 1, max: 15 }), fc.boolean()), {
      minLength: 1,
      maxLength: 40,
    });
    fc.assert(
      fc.property(exact, (data) => {
        const fit = turnbull(data.map(([time, event]) => ({ left: time, right: event ? time : null })));
        const curve = kaplanMeier({
          time: data.map(([time]) => time),
          event: data.map(([, event]) => (event ? 1 : 0)),
        });
        if (isRefusal(curve)) throw new Error(curve.message);
        curve.time.forEach((time, step) => {
          expect(survivalAt(fit, time).survival).toBeCloseTo(curve.survival[step] ?? NaN, 6);
        });
      }),
    );
  });

  it('refuses an empty list and an interval that ends before it begins', () => {
    expect(() => turnbull([])).toThrow(/at least one/);
    expect(() => turnbull([{ left: 3, right: 2 }])).toThrow(/must not be above/);
    expect(() => turnbull([{ left: NaN, right: 2 }])).toThrow(/left\[0\] is NaN/);
  });
});
