import { describe, expect, it } from 'vitest';
import {
  kaplanMeier,
  numberAtRisk,
  type KaplanMeierPoint,
  type SurvivalIntervalScale,
} from '@longhold/core/survival';
import { expectAllClose, expectClose } from './closeness';
import { readFixture, type NumberOrNull } from './fixture';
import { CLOSED_FORM } from './tolerances';

interface LimitLists {
  readonly lower: NumberOrNull[];
  readonly upper: NumberOrNull[];
}
interface Curve {
  readonly name: string;
  readonly call: string;
  readonly time: number[];
  readonly event: (0 | 1)[];
  readonly steps: {
    readonly time: number[];
    readonly atRisk: number[];
    readonly events: number[];
    readonly survival: number[];
    readonly standardError: NumberOrNull[];
    readonly limits: Record<'plain' | 'log' | 'logLog', LimitLists>;
  };
  readonly readOff: {
    readonly time: number[];
    readonly survival: number[];
    readonly atRisk: number[];
    readonly logLog: LimitLists;
  };
}

// Source: survival::survfit; see r/kaplan-meier.R. NA stands where a limit is not defined (survival 0).
const { curves, level } = readFixture<{ level: number; curves: Curve[] }>('kaplan-meier');
const SCALES = { plain: 'plain', log: 'log', logLog: 'log-log' } as const;

function fit(curve: Curve, scale: SurvivalIntervalScale): KaplanMeierPoint[] {
  const times = curve.time.map((time, i) => ({ time, event: curve.event[i] === 1 }));
  return kaplanMeier(times, { level, scale });
}

/** Compares where R gives a number; where R says NA ours must be NaN. */
function expectDefined(actual: readonly number[], expected: readonly NumberOrNull[], what: string): void {
  expect(actual.length).toBe(expected.length);
  expected.forEach((value, i) => {
    if (value === null) expect(actual[i], `${what}[${i}]`).toBeNaN();
    else expectClose(actual[i] ?? NaN, value, CLOSED_FORM, `${what}[${i}]`, 1e-3);
  });
}

describe('Kaplan-Meier curves agree with survfit', () => {
  it.each(curves)('$name: $call', (curve) => {
    for (const [key, scale] of Object.entries(SCALES)) {
      const points = fit(curve, scale).filter((point) => point.events > 0);
      const { steps } = curve;
      expect(points.map((point) => point.time)).toEqual(steps.time);
      expect(points.map((point) => point.atRisk)).toEqual(steps.atRisk);
      expect(points.map((point) => point.events)).toEqual(steps.events);
      const survival = points.map((point) => point.survival);
      expectAllClose(survival, steps.survival, CLOSED_FORM, 'survival', 1e-3);
      const errors = points.map((point) => point.standardError);
      expectDefined(errors, steps.standardError, 'standard error');
      const { lower, upper } = steps.limits[key as keyof typeof SCALES];
      expectDefined(
        points.map((point) => point.lower),
        lower,
        `${scale} lower`,
      );
      expectDefined(
        points.map((point) => point.upper),
        upper,
        `${scale} upper`,
      );
    }
  });

  it.each(curves)('$name, read off at set times with numbers at risk', (curve) => {
    const points = fit(curve, 'log-log');
    const times = curve.time.map((left, i) => ({ left, right: curve.event[i] === 1 ? left : null }));
    curve.readOff.time.forEach((at, i) => {
      const latest = points.filter((point) => point.time <= at).pop();
      expectClose(latest?.survival ?? 1, curve.readOff.survival[i] ?? NaN, CLOSED_FORM, `S(${at})`);
      expect(numberAtRisk(times, at)).toBe(curve.readOff.atRisk[i]);
    });
  });
});
