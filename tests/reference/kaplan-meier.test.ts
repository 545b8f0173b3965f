import { describe, expect, it } from 'vitest';
import {
  kaplanMeier,
  numbersAtRisk,
  restrictedMean,
  survivalQuantiles,
  survivalReadings,
  type KaplanMeierCurve,
  type ProbabilityScale,
} from '@longhold/core/survival';
import { answered } from './answered';
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
  readonly event: number[];
  readonly entry: number[] | null;
  readonly weights: number[] | null;
  readonly steps: {
    readonly time: number[];
    readonly atRisk: number[];
    readonly events: number[];
    readonly censored: number[];
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
  readonly restrictedMean: {
    readonly tau: number;
    readonly mean: number;
    readonly standardError: number;
  };
  readonly quantiles: Record<'plain' | 'log' | 'logLog', LimitLists> & {
    readonly probability: number[];
    readonly estimate: NumberOrNull[];
  };
}

// Source: survival::survfit; see r/kaplan-meier.R. NA stands where R gives no limit.
const { curves, level } = readFixture<{ level: number; curves: Curve[] }>('kaplan-meier');
const SCALES: readonly (readonly ['plain' | 'log' | 'logLog', ProbabilityScale])[] = [
  ['plain', 'plain'],
  ['log', 'log'],
  ['logLog', 'log-log'],
];

function columnsOf({ time, event, entry, weights }: Curve): Parameters<typeof kaplanMeier>[0] {
  return { time, event, entry: entry ?? undefined, weights: weights ?? undefined };
}

function fit(curve: Curve, scale: ProbabilityScale): KaplanMeierCurve {
  return answered(kaplanMeier(columnsOf(curve), { level, scale }));
}

/** Compares where R gives a number; where R says NA ours must be null. */
function expectDefined(
  actual: readonly NumberOrNull[],
  expected: readonly NumberOrNull[],
  what: string,
): void {
  expect(actual.length).toBe(expected.length);
  expected.forEach((value, i) => {
    const ours = actual[i] ?? null;
    if (value === null || ours === null) expect(ours, `${what}[${i}]`).toBe(value);
    else expectClose(ours, value, CLOSED_FORM, `${what}[${i}]`, 1e-3);
  });
}

/** With late entry, few are at risk at first, and the lower limit falls low and rises again. */
function risesAgain(limits: readonly NumberOrNull[]): boolean {
  return limits.some((limit, i) => (limit ?? 0) > (limits[i - 1] ?? 1) + 1e-12);
}

/**
 * Brookmeyer and Crowley's set holds every time at which the limits include 1 - p, so it begins at the first time whose
 * lower limit is 1 - p or less. quantile() of R takes the limits for falling and begins later where they rise again.
 */
function firstTimesAt({ steps }: Curve, scale: 'plain' | 'log' | 'logLog', probabilities: readonly number[]) {
  const { lower } = steps.limits[scale];
  return probabilities.map((p) => steps.time.find((_, i) => (lower[i] ?? 1) <= 1 - p) ?? null);
}

describe('Kaplan-Meier curves agree with survfit', () => {
  it.each(curves)('$name: $call', (curve) => {
    for (const [key, scale] of SCALES) {
      const ours = fit(curve, scale);
      const { steps } = curve;
      expect(Array.from(ours.time)).toEqual(steps.time);
      expect(Array.from(ours.atRisk)).toEqual(steps.atRisk);
      expect(Array.from(ours.events)).toEqual(steps.events);
      expect(Array.from(ours.censored)).toEqual(steps.censored);
      expectAllClose(Array.from(ours.survival), steps.survival, CLOSED_FORM, 'survival', 1e-3);
      expectDefined(ours.standardError, steps.standardError, 'standard error');
      // Before the first event survfit says 1 on two of the scales and NA on the third; here it is null on all,
      // because an estimated variance of 0 is no knowledge.
      const beyond = (side: NumberOrNull[]): NumberOrNull[] =>
        side.map((limit, i) => (steps.survival[i] === 1 ? null : limit));
      expectDefined(ours.lower, beyond(steps.limits[key].lower), `${scale} lower`);
      expectDefined(ours.upper, beyond(steps.limits[key].upper), `${scale} upper`);
    }
  });

  it.each(curves)('$name, read off at set times with numbers at risk', (curve) => {
    const readings = answered(survivalReadings(fit(curve, 'log-log'), curve.readOff.time));
    expect(numbersAtRisk(columnsOf(curve), curve.readOff.time)).toEqual(curve.readOff.atRisk);
    const last = Math.max(...curve.time);
    curve.readOff.time.forEach((at, i) => {
      const expected = curve.readOff.survival[i] ?? NaN;
      // survfit carries the last value on; nobody was observed there, so here it is null unless it is 0.
      if (at > last && expected > 0) expect(readings[i]?.survival).toBeNull();
      else {
        expectClose(readings[i]?.survival ?? NaN, expected, CLOSED_FORM, `S(${at})`, 1e-3);
        // As above: no limits where survival is still 1.
        const limits = [curve.readOff.logLog.lower, curve.readOff.logLog.upper];
        const [lower, upper] = limits.map((side) => (expected === 1 ? null : (side[i] ?? null)));
        expectDefined([readings[i]?.lower ?? null], [lower ?? null], `lower limit at ${at}`);
        expectDefined([readings[i]?.upper ?? null], [upper ?? null], `upper limit at ${at}`);
      }
    });
  });

  it.each(curves)('$name, quantiles with their limits', (curve) => {
    const { probability, estimate } = curve.quantiles;
    for (const [key, scale] of SCALES) {
      const ours = answered(survivalQuantiles(fit(curve, scale), probability));
      const { lower, upper } = curve.quantiles[key];
      expectDefined(ours.map(({ time }) => time), estimate, 'quantile'); // prettier-ignore
      const lowest = risesAgain(curve.steps.limits[key].lower)
        ? firstTimesAt(curve, key, probability)
        : lower;
      expectDefined(ours.map((one) => one.lower), lowest, `${scale} lower limit of quantile`); // prettier-ignore
      expectDefined(ours.map((one) => one.upper), upper, `${scale} upper limit of quantile`); // prettier-ignore
    }
  });

  it.each(curves)('$name, restricted mean', (curve) => {
    const { tau, mean, standardError } = curve.restrictedMean;
    const ours = answered(restrictedMean(fit(curve, 'log-log'), tau));
    expectClose(ours.mean, mean, CLOSED_FORM, 'restricted mean');
    expectClose(ours.standardError, standardError, CLOSED_FORM, 'its standard error', 1e-3);
  });
});
