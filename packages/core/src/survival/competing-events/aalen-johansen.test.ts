import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { isRefusal, type Refusal } from '../../numeric';
import { kaplanMeier } from '../right-censored';
import { cumulativeIncidence, type CumulativeIncidence } from './aalen-johansen';
import type { CompetingTimes } from './competing-times';
import { incidenceReadings } from './incidence-readings';
import type { IncidenceVariance } from './incidence-variance';

function answered<Answer>(answer: Answer | Refusal): Answer {
  if (isRefusal(answer)) throw new Error(answer.message);
  return answer;
}

const rows = fc.array(
  fc.record({
    time: fc.oneof(fc.integer({ min: 1, max: 12 }), fc.double({ min: 0.1, max: 50, noNaN: true })),
    cause: fc.constantFrom(0, 1, 2, 3),
    weight: fc.integer({ min: 1, max: 4 }),
    early: fc.double({ min: 0.01, max: 1, noNaN: true }),
  }),
  { minLength: 1, maxLength: 30 },
);
interface Row {
  readonly time: number;
  readonly cause: number;
  readonly weight: number;
  readonly early: number;
}

function columns(sample: readonly Row[], late = false): CompetingTimes {
  return {
    time: sample.map(({ time }) => time),
    cause: sample.map(({ cause }) => cause),
    ...(late && { entry: sample.map(({ time, early }) => time * (1 - early)) }),
  };
}

function curves(sample: readonly Row[], variance: IncidenceVariance = 'greenwood'): CumulativeIncidence {
  return answered(cumulativeIncidence(columns(sample), { causes: 3, variance }));
}

const VARIANCES: readonly IncidenceVariance[] = ['greenwood', 'aalen', 'jackknife'];

/** The infinitesimal jackknife in full: every row's derivative of the incidence, by its definition, squared and added. */
function plainJackknife({ time, cause, entry }: CompetingTimes, of: number, until: number): number {
  const all = Array.from(time);
  const moments = [...new Set(all.filter((t, i) => t <= until && cause[i] !== 0))].sort((a, b) => a - b);
  const past = all.map(() => ({ survival: 0, incidence: 0 }));
  let survival = 1;
  for (const u of moments) {
    const here = all.map((t, i) => (entry?.[i] ?? -1) < u && u <= t);
    const n = here.filter(Boolean).length;
    const share = (holds: (kind: number) => boolean): number =>
      all.filter((t, i) => t === u && holds(cause[i] ?? 0)).length / n;
    const any = share((kind) => kind > 0);
    const own = share((kind) => kind === of);
    past.forEach((influence, i) => {
      const failed = all[i] === u && cause[i] !== 0 ? 1 : 0;
      const failedOfCause = all[i] === u && cause[i] === of ? 1 : 0;
      const present = here[i] === true ? survival / n : 0;
      influence.incidence += own * influence.survival + present * (failedOfCause - own);
      influence.survival = (1 - any) * influence.survival - present * (failed - any);
    });
    survival *= 1 - any;
  }
  return Math.sqrt(past.reduce((sum, { incidence }) => sum + incidence ** 2, 0));
}

describe('cumulative incidences', () => {
  it.each(VARIANCES)(
    'sum to one with event-free survival and never fall, with limits around them, %s',
    (variance) => {
      fc.assert(
        fc.property(rows, fc.boolean(), (sample, late) => {
          const { eventFree, causes } = answered(
            cumulativeIncidence(columns(sample, late), { causes: 3, variance }),
          );
          eventFree.survival.forEach((free, s) => {
            const sum = causes.reduce((total, { incidence }) => total + (incidence[s] ?? NaN), free);
            expect(Math.abs(sum - 1)).toBeLessThan(1e-12);
            for (const { incidence, lower, upper } of causes) {
              const value = incidence[s] ?? NaN;
              expect(value).toBeGreaterThanOrEqual(incidence[s - 1] ?? 0);
              expect(value).toBeLessThanOrEqual(1);
              expect(lower[s] ?? 0).toBeLessThanOrEqual(value);
              expect(upper[s] ?? 1).toBeGreaterThanOrEqual(value);
            }
          });
        }),
      );
    },
  );

  it('are one less the Kaplan-Meier curve where there is one cause, with its standard errors and limits', () => {
    fc.assert(
      fc.property(rows, fc.boolean(), (sample, late) => {
        const one = columns(
          sample.map((row) => ({ ...row, cause: Math.min(1, row.cause) })),
          late,
        );
        const { eventFree, causes } = answered(
          cumulativeIncidence(one, { causes: 1, scale: 'complementary-log-log' }),
        );
        const curve = answered(kaplanMeier({ ...one, event: one.cause }));
        expect(eventFree.survival).toEqual(curve.survival);
        expect(causes[0]?.incidence).toEqual(curve.survival.map((survival) => 1 - survival));
        curve.standardError.forEach((error, s) => {
          if (error === null) expect(causes[0]?.standardError[s]).toBeNull();
          else expect(causes[0]?.standardError[s]).toBeCloseTo(error, 12);
          expect(eventFree.lower[s] === null).toBe(curve.lower[s] === null);
          expect(eventFree.lower[s] ?? 0).toBeCloseTo(curve.lower[s] ?? 0, 9);
          expect(causes[0]?.upper[s] ?? 0).toBeCloseTo(
            curve.lower[s] === null ? 0 : 1 - (curve.lower[s] ?? NaN),
            9,
          );
        });
      }),
    );
  });

  it('are the shares of causes where nobody is censored, with binomial standard errors', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        const complete = sample.map((row) => ({ ...row, cause: Math.max(1, row.cause) }));
        const { time, causes } = curves(complete);
        time.forEach((t, s) => {
          for (const { cause, incidence, standardError } of causes) {
            const share =
              complete.filter((row) => row.time <= t && row.cause === cause).length / sample.length;
            expect(incidence[s]).toBeCloseTo(share, 12);
            const binomial = Math.sqrt((share * (1 - share)) / sample.length);
            if (incidence[s] !== 1) expect(standardError[s]).toBeCloseTo(binomial, 7);
          }
        });
      }),
    );
  });

  it('do not depend on the order of rows, the unit of time or the numbers that causes bear', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        const { causes } = curves(sample);
        expect(curves([...sample].reverse()).causes).toEqual(causes);
        expect(curves(sample.map((row) => ({ ...row, time: 4 * row.time }))).causes).toEqual(causes);
        const turned = curves(sample.map((row) => ({ ...row, cause: row.cause === 0 ? 0 : 4 - row.cause })));
        expect(turned.causes[0]?.incidence).toEqual(causes[2]?.incidence);
        expect(turned.causes[0]?.lower).toEqual(causes[2]?.lower);
      }),
    );
  });

  it.each(VARIANCES)('count a row with a weight as that many rows, also with late entry, %s', (variance) => {
    fc.assert(
      fc.property(rows, fc.boolean(), (sample, late) => {
        const repeated = sample.flatMap((row) => new Array<Row>(row.weight).fill(row));
        const weights = sample.map(({ weight }) => weight);
        const weighted = cumulativeIncidence({ ...columns(sample, late), weights }, { causes: 3, variance });
        const written = answered(cumulativeIncidence(columns(repeated, late), { causes: 3, variance }));
        answered(weighted).causes.forEach(({ incidence, standardError }, j) => {
          expect(incidence).toEqual(written.causes[j]?.incidence);
          standardError.forEach((error, s) => {
            // Squares, for a variance that is 0 but for rounding has a root of 1e-8.
            const other = written.causes[j]?.standardError[s] ?? 0;
            expect((error ?? 0) ** 2).toBeCloseTo(other ** 2, 12);
          });
        });
      }),
    );
  });

  it('have with late entry the jackknife of its definition, row by row', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        const late = columns(sample, true);
        const { time, causes } = answered(cumulativeIncidence(late, { causes: 3, variance: 'jackknife' }));
        time.forEach((t, s) => {
          for (const { cause, standardError } of causes) {
            const error = standardError[s];
            if (error !== null)
              expect((error ?? NaN) ** 2).toBeCloseTo(plainJackknife(late, cause, t) ** 2, 12);
          }
        });
      }),
    );
  });

  it('have the same jackknife and Greenwood errors where nobody enters late', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        expect(curves(sample, 'jackknife').causes).toEqual(curves(sample).causes);
        const entry = sample.map(() => 0);
        const entered = cumulativeIncidence(
          { ...columns(sample), entry },
          { causes: 3, variance: 'jackknife' },
        );
        answered(entered).causes.forEach(({ standardError }, j) => {
          standardError.forEach((error, s) => {
            const other = curves(sample).causes[j]?.standardError[s] ?? 0;
            expect((error ?? 0) ** 2).toBeCloseTo(other ** 2, 12);
          });
        });
      }),
    );
  });
});

describe('what cumulative incidences tell', () => {
  const sample = { time: [2, 3, 5, 8], cause: [1, 0, 2, 0] };

  it('is read off at any time, and nothing after the last observation', () => {
    const readings = incidenceReadings(answered(cumulativeIncidence(sample)), [9, 1, 5]);
    expect(readings.map(({ eventFree }) => eventFree.probability)).toEqual([null, 1, 0.375]);
    expect(readings.map(({ causes }) => causes[0]?.probability)).toEqual([null, 0, 0.25]);
    const negative = incidenceReadings(answered(cumulativeIncidence(sample)), [-1]);
    expect(negative[0]?.eventFree.probability).toBeNull();
    expect(readings[1]?.causes[0]).toEqual({ probability: 0, standardError: 0, lower: null, upper: null });
  });

  it('starts later where asked for, among those who had no event by then', () => {
    fc.assert(
      fc.property(rows, fc.double({ min: 0.01, max: 8, noNaN: true }), (all, from) => {
        const later = cumulativeIncidence(columns(all), { causes: 3, from });
        if (isRefusal(later)) {
          expect(all.every(({ time }) => time <= from)).toBe(true);
          return;
        }
        expect(later.from).toBe(from);
        const whole = answered(cumulativeIncidence(columns(all), { causes: 3 }));
        const [start] = incidenceReadings(whole, [from]);
        const times = Array.from(later.time);
        const before = start?.eventFree.probability ?? NaN;
        incidenceReadings(whole, times).forEach(({ causes }, s) => {
          const gained = (causes[0]?.probability ?? NaN) - (start?.causes[0]?.probability ?? NaN);
          expect(later.causes[0]?.incidence[s]).toBeCloseTo(gained / before, 9);
        });
        expect(incidenceReadings(later, [from / 2])[0]?.eventFree.probability).toBeNull();
      }),
    );
  });

  it('is known for ever after where everybody had an event', () => {
    const over = answered(cumulativeIncidence({ time: [1, 2], cause: [1, 2] }));
    expect(incidenceReadings(over, [99])[0]).toMatchObject({
      eventFree: { probability: 0, standardError: null },
      causes: [{ probability: 0.5 }, { probability: 0.5 }],
    });
  });

  it('holds a cause that never struck at 0, without limits', () => {
    const { causes } = answered(cumulativeIncidence(sample, { causes: 3 }));
    expect(causes[2]).toMatchObject({ cause: 3, observedEvents: 0, incidence: new Float64Array(4) });
    expect(causes[2]?.standardError).toEqual([0, 0, 0, 0]);
    expect(causes[2]?.lower).toEqual([null, null, null, null]);
  });

  it('holds one patient and no events at all', () => {
    expect(answered(cumulativeIncidence({ time: [3], cause: [1] }))).toMatchObject({
      eventFree: { standardError: [null] },
      causes: [{ incidence: Float64Array.of(1), standardError: [null], lower: [null], upper: [null] }],
    });
    expect(answered(cumulativeIncidence({ time: [3], cause: [0] }))).toMatchObject({
      eventFree: { standardError: [0], lower: [null] },
      causes: [{ incidence: Float64Array.of(0), lower: [null] }],
    });
  });

  it('says where late entry emptied the risk set before others came', () => {
    const emptied = cumulativeIncidence({ time: [1, 5, 6], cause: [1, 2, 0], entry: [0, 2, 2] });
    expect(answered(emptied)).toMatchObject({
      emptiedAt: 1,
      causes: [{ incidence: Float64Array.of(1, 1, 1) }, {}],
    });
    expect(answered(cumulativeIncidence(sample)).emptiedAt).toBeNull();
  });
});

describe('cumulative incidences are refused', () => {
  it.each([
    ['no rows', { time: [], cause: [] }, 'no-rows', 'time is empty'],
    ['a negative time', { time: [1, -2], cause: [1, 1] }, 'wrong-value', 'time[1] is -2'],
    ['an infinite time', { time: [Infinity], cause: [1] }, 'wrong-value', 'time[0] is Infinity'],
    ['half a cause', { time: [1], cause: [1.5] }, 'wrong-value', 'cause[0] is 1.5'],
    ['a cause that is not a number', { time: [1], cause: [NaN] }, 'wrong-value', 'cause[0] is NaN'],
    ['causes that are times', { time: [1, 2], cause: [1, 3650] }, 'unknown-cause', 'cause[1] is 3650'],
    ['columns of unequal length', { time: [1, 2], cause: [1] }, 'wrong-length', 'cause has 1 entries'],
    ['entry after the end', { time: [1], cause: [1], entry: [2] }, 'entry-not-before-time', 'entry[0] is 2'],
  ])('for %s, with the place', (_, input, refused, message) => {
    const refusal = cumulativeIncidence(input);
    expect(refusal).toMatchObject({ refused, message: expect.stringContaining(message) as string });
  });

  it('for a cause beyond those named, a number of causes that is none, and a level of 95', () => {
    const input = { time: [1, 2], cause: [1, 3] };
    expect(cumulativeIncidence(input, { causes: 2 })).toMatchObject({ refused: 'unknown-cause' });
    expect(cumulativeIncidence(input, { causes: 0 })).toMatchObject({ refused: 'wrong-value' });
    expect(cumulativeIncidence(input, { level: 95 })).toMatchObject({ refused: 'wrong-level' });
    expect(cumulativeIncidence(input, { from: 2 })).toMatchObject({ refused: 'no-rows' });
    expect(cumulativeIncidence(input, { from: -1 })).toMatchObject({ refused: 'wrong-value' });
  });
});
