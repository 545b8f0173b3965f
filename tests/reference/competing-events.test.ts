import { cumulativeIncidence, grayTest, type IncidenceScale } from '@longhold/core/survival';
import { describe, expect, it } from 'vitest';
import { answered } from './answered';
import { expectAllClose, expectClose } from './closeness';
import { readFixture, type NumberOrNull } from './fixture';
import { CLOSED_FORM, DISTRIBUTION } from './tolerances';

type Matrix = readonly (readonly number[])[];
type LimitMatrix = readonly (readonly NumberOrNull[])[];

interface Curve {
  readonly name: string;
  readonly time: readonly number[];
  readonly cause: readonly number[];
  readonly entry: readonly number[] | null;
  /** First row event-free, then a row for each cause. */
  readonly survfit: {
    readonly time: readonly number[];
    readonly atRisk: readonly number[];
    readonly probability: Matrix;
    readonly standardError: Matrix;
    readonly limits: Readonly<
      Record<'logLog' | 'log' | 'plain', { readonly lower: LimitMatrix; readonly upper: LimitMatrix }>
    >;
  };
  readonly cuminc: {
    readonly time: readonly number[];
    readonly incidence: Matrix;
    readonly variance: Matrix;
  } | null;
  readonly greenwood: readonly {
    readonly time: readonly number[];
    readonly incidence: readonly number[];
    readonly standardError: readonly number[];
  }[];
}

interface Fixture {
  readonly curves: readonly Curve[];
  readonly frequent: {
    readonly time: readonly number[];
    readonly cause: readonly number[];
    readonly weights: readonly number[];
  };
  readonly gray: readonly {
    readonly name: string;
    readonly time: readonly number[];
    readonly cause: readonly number[];
    readonly group: readonly (string | number)[];
    readonly stratum: readonly number[];
    readonly rho: number;
    readonly chiSquared: readonly number[];
    readonly p: readonly number[];
    readonly degreesOfFreedom: number;
  }[];
}

const { curves, frequent, gray } = readFixture<Fixture>('competing-events');

function columnsOf({ time, cause, entry }: Curve) {
  return { time, cause, entry: entry ?? undefined };
}

/** Variances that cancel to nearly 0 are compared on the scale of probabilities. */
const SMALLEST = 1e-5;

function at(times: ArrayLike<number>, wanted: readonly number[], column: ArrayLike<number | null>): number[] {
  const place = new Map(Array.from(times, (time, i) => [time, i]));
  return wanted.map((time) => {
    const step = place.get(time);
    return step === undefined ? NaN : (column[step] ?? 0);
  });
}

describe('cumulative incidence', () => {
  it.each(curves)('is that of survfit(): $name', (curve) => {
    const ours = answered(cumulativeIncidence(columnsOf(curve)));
    const [eventFree = [], ...causes] = curve.survfit.probability;
    expectAllClose(Array.from(ours.time), curve.survfit.time, 0, 'time');
    expectAllClose(Array.from(ours.atRisk), curve.survfit.atRisk, 0, 'at risk');
    expectAllClose(Array.from(ours.eventFree.survival), eventFree, CLOSED_FORM, 'event-free', SMALLEST);
    expect(ours.causes).toHaveLength(causes.length);
    causes.forEach((incidence, j) => {
      const one = Array.from(ours.causes[j]?.incidence ?? []);
      expectAllClose(one, incidence, CLOSED_FORM, `cause ${j + 1}`, SMALLEST);
    });
  });

  it.each(curves)('has the jackknife standard errors of survfit(), $name', (curve) => {
    const ours = answered(cumulativeIncidence(columnsOf(curve), { variance: 'jackknife' }));
    const [eventFree = [], ...causes] = curve.survfit.standardError;
    const errors = ours.eventFree.standardError.map((error) => error ?? 0);
    expectAllClose(errors, eventFree, CLOSED_FORM, 'event-free', SMALLEST);
    causes.forEach((wanted, j) => {
      const one = ours.causes[j]?.standardError.map((error) => error ?? 0) ?? [];
      expectAllClose(one, wanted, CLOSED_FORM, `cause ${j + 1}`, SMALLEST);
    });
  });

  it.each(curves.filter(({ entry }) => entry === null))(
    'has by Greenwood the standard errors of survfit(), as nobody enters late: $name',
    (curve) => {
      const ours = answered(cumulativeIncidence(columnsOf(curve)));
      curve.survfit.standardError.slice(1).forEach((wanted, j) => {
        const one = ours.causes[j]?.standardError.map((error) => error ?? 0) ?? [];
        expectAllClose(one, wanted, CLOSED_FORM, `cause ${j + 1}`, SMALLEST);
      });
    },
  );

  it.each(curves)('has the Greenwood standard errors of their definition: $name', (curve) => {
    const ours = answered(cumulativeIncidence(columnsOf(curve)));
    curve.greenwood.forEach(({ time, incidence, standardError }, j) => {
      const own = ours.causes[j];
      expectAllClose(
        at(ours.time, time, own?.incidence ?? []),
        incidence,
        CLOSED_FORM,
        'incidence',
        SMALLEST,
      );
      const errors = at(ours.time, time, own?.standardError ?? []);
      expectAllClose(errors, standardError, CLOSED_FORM, `cause ${j + 1}`, SMALLEST);
    });
  });

  // cuminc() knows no late entry.
  const withoutEntry = curves.flatMap((curve) =>
    curve.cuminc === null ? [] : [{ ...curve, cuminc: curve.cuminc }],
  );
  it.each(withoutEntry)("has Aalen's variance as cuminc(): $name", (curve) => {
    const { time, incidence, variance } = curve.cuminc;
    const ours = answered(cumulativeIncidence(columnsOf(curve), { variance: 'aalen' }));
    variance.forEach((wanted, j) => {
      const own = ours.causes[j];
      expectAllClose(
        at(ours.time, time, own?.incidence ?? []),
        incidence[j] ?? [],
        CLOSED_FORM,
        'est',
        SMALLEST,
      );
      const squares = at(ours.time, time, own?.standardError ?? []).map((error) => error * error);
      expectAllClose(squares, wanted, CLOSED_FORM, `variance of cause ${j + 1}`, SMALLEST ** 2);
    });
  });

  const scales: readonly (readonly [IncidenceScale, 'logLog' | 'log' | 'plain'])[] = [
    ['log-log', 'logLog'],
    ['log', 'log'],
    ['plain', 'plain'],
  ];
  it.each(scales)('has the %s limits of survfit() where the incidence is above 0', (scale, key) => {
    for (const curve of curves) {
      const ours = answered(cumulativeIncidence(columnsOf(curve), { scale, variance: 'jackknife' }));
      ours.causes.forEach(({ incidence, lower, upper }, j) => {
        const wanted = curve.survfit.limits[key];
        incidence.forEach((value, s) => {
          if (!(value > 0 && value < 1)) return;
          const what = `${curve.name}, cause ${j + 1}, time ${ours.time[s]}`;
          expectClose(lower[s] ?? NaN, wanted.lower[j + 1]?.[s] ?? NaN, CLOSED_FORM, what, SMALLEST);
          expectClose(upper[s] ?? NaN, wanted.upper[j + 1]?.[s] ?? NaN, CLOSED_FORM, what, SMALLEST);
        });
      });
    }
  });

  it('counts frequencies as rows written out', () => {
    const written = curves.find(({ name }) => name === 'frequencies written out');
    const ours = answered(cumulativeIncidence(frequent));
    const errors = ours.causes[0]?.standardError.map((error) => error ?? 0) ?? [];
    expectAllClose(errors, written?.survfit.standardError[1] ?? [], CLOSED_FORM, 'cause 1', SMALLEST);
  });
});

describe("Gray's test", () => {
  it.each(gray)('is that of cuminc(): $name', ({ chiSquared, p, degreesOfFreedom, rho, ...columns }) => {
    chiSquared.forEach((statistic, j) => {
      const ours = answered(grayTest(columns, { cause: j + 1, rho }));
      expectClose(ours.chiSquared, statistic, CLOSED_FORM, `chi-squared of cause ${j + 1}`);
      expectClose(ours.p, p[j] ?? NaN, DISTRIBUTION, `p of cause ${j + 1}`);
      expect(ours.degreesOfFreedom).toBe(degreesOfFreedom);
    });
  });
});
