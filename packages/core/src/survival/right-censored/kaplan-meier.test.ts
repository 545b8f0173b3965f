import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { isRefusal, type Refusal } from '../../numeric';
import { kaplanMeier, survivalReadings, type KaplanMeierCurve } from './kaplan-meier';
import { numbersAtRisk } from './numbers-at-risk';
import { restrictedMean } from './restricted-mean';
import { survivalQuantiles } from './survival-quantile';
import type { RightCensoredTimes } from './times';

function answered<Answer>(answer: Answer | Refusal): Answer {
  if (isRefusal(answer)) throw new Error(answer.message);
  return answer;
}

const rows = fc.array(
  fc.record({
    time: fc.oneof(fc.integer({ min: 0, max: 12 }), fc.double({ min: 0, max: 50, noNaN: true })),
    event: fc.constantFrom(0, 1),
    weight: fc.integer({ min: 1, max: 4 }),
    early: fc.double({ min: 0.01, max: 1, noNaN: true }),
  }),
  { minLength: 1, maxLength: 40 },
);
type Row = { readonly time: number; readonly event: number; readonly weight: number };

function columns(sample: readonly Row[]): RightCensoredTimes {
  return { time: sample.map(({ time }) => time), event: sample.map(({ event }) => event) };
}

function curve(sample: readonly Row[]): KaplanMeierCurve {
  return answered(kaplanMeier(columns(sample)));
}

describe('a Kaplan-Meier curve', () => {
  it('never rises and stays in [0, 1], with limits on both sides of it', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        const { survival, lower, upper } = curve(sample);
        survival.forEach((value, i) => {
          expect(value).toBeLessThanOrEqual(survival[i - 1] ?? 1);
          expect(value).toBeGreaterThanOrEqual(0);
          expect(lower[i] ?? 0).toBeLessThanOrEqual(value);
          expect(upper[i] ?? 1).toBeGreaterThanOrEqual(value);
        });
      }),
    );
  });

  it('does not depend on the order of the rows', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        expect(curve([...sample].reverse())).toEqual(curve(sample));
      }),
    );
  });

  it('counts a row with a weight as that many rows', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        const repeated = sample.flatMap((row) => new Array<Row>(row.weight).fill(row));
        const weighted = kaplanMeier({ ...columns(sample), weights: sample.map(({ weight }) => weight) });
        expect(answered(weighted)).toEqual(curve(repeated));
      }),
    );
  });

  it('keeps its heights when the unit of time changes', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        const longer = sample.map((row) => ({ ...row, time: row.time * 4 }));
        expect(curve(longer).survival).toEqual(curve(sample).survival);
      }),
    );
  });

  it('is the share still to come where nobody is censored', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        const complete = sample.map((row) => ({ ...row, event: 1 }));
        const { time, survival } = curve(complete);
        time.forEach((t, i) => {
          const left = complete.filter((row) => row.time > t).length / complete.length;
          expect(survival[i]).toBeCloseTo(left, 12);
        });
      }),
    );
  });

  it('does not change when everyone enters at 0 or just before their own time range', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        const positive = sample.map((row) => ({ ...row, time: row.time + 1 }));
        const late = kaplanMeier({ ...columns(positive), entry: positive.map(() => 0) });
        expect(answered(late)).toEqual(curve(positive));
      }),
    );
  });

  it('has at risk, in every step, those whose entry came before and whose time did not', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        const late = sample.map((row) => ({
          ...row,
          time: row.time + 1,
          entry: (row.time + 1) * (1 - row.early),
        }));
        const times = { ...columns(late), entry: late.map(({ entry }) => entry) };
        const { time, atRisk } = answered(kaplanMeier(times));
        const counted = Array.from(time, (t) => late.filter((row) => row.entry < t && t <= row.time).length);
        expect(Array.from(atRisk)).toEqual(counted);
        expect(numbersAtRisk(times, Array.from(time))).toEqual(counted);
      }),
    );
  });

  it('has a restricted mean that is the mean of times cut at the horizon where nobody is censored', () => {
    fc.assert(
      fc.property(rows, fc.double({ min: 0.5, max: 40, noNaN: true }), (sample, horizon) => {
        const complete = sample.map((row) => ({ ...row, event: 1 }));
        const { mean } = answered(restrictedMean(curve(complete), horizon));
        const cut = complete.reduce((sum, { time }) => sum + Math.min(time, horizon), 0) / complete.length;
        expect(mean).toBeCloseTo(cut, 9);
      }),
    );
  });
});

describe('what a curve can be asked', () => {
  const sample = [
    { time: 2, event: 1, weight: 1 },
    { time: 3, event: 0, weight: 1 },
    { time: 5, event: 1, weight: 1 },
    { time: 8, event: 0, weight: 1 },
  ];

  it('nothing after the last observation, unless survival is 0', () => {
    expect(answered(survivalReadings(curve(sample), [1, 4, 9])).map(({ survival }) => survival)).toEqual([
      1,
      0.75,
      null,
    ]);
    const over = sample.map((row) => ({ ...row, event: 1 }));
    expect(answered(survivalReadings(curve(over), [99]))[0]).toMatchObject({
      survival: 0,
      standardError: null,
      lower: null,
    });
  });

  it.each([NaN, Infinity])('no survival and no number at risk at the time %s', (time) => {
    expect(survivalReadings(curve(sample), [1, time])).toMatchObject({ refused: 'wrong-value' });
    expect(numbersAtRisk({ time: [1, 2] }, [1, time])).toMatchObject({ refused: 'wrong-value' });
  });

  it('a median only where the curve falls to a half', () => {
    const [median] = answered(survivalQuantiles(curve(sample.slice(0, 2)), [0.5]));
    expect(median?.time).not.toBeNull();
    expect(answered(survivalQuantiles(curve(sample), [0.9]))[0]?.time).toBeNull();
  });

  it('a restricted mean only as far as anybody was observed', () => {
    expect(restrictedMean(curve(sample), 10)).toMatchObject({ refused: 'horizon-after-last-time' });
    expect(restrictedMean(curve(sample), -1)).toMatchObject({ refused: 'wrong-horizon' });
    expect(restrictedMean(curve(sample.filter(({ event }) => event === 0)), 8)).toMatchObject({
      mean: 8,
      standardError: 0,
      lower: null,
    });
  });

  it('whether late entry emptied the risk set before others came', () => {
    const emptied = kaplanMeier({ time: [1, 5, 6], event: [1, 1, 0], entry: [0, 2, 2] });
    expect(answered(emptied)).toMatchObject({ emptiedAt: 1, survival: Float64Array.of(0, 0, 0) });
    expect(curve(sample).emptiedAt).toBeNull();
  });
});

describe('a Kaplan-Meier curve is refused', () => {
  it.each([
    ['no rows', { time: [], event: [] }, 'no-rows', 'time is empty'],
    ['only weights of 0', { time: [1], event: [1], weights: [0] }, 'no-rows', 'All weights are 0'],
    ['a negative time', { time: [1, -2], event: [1, 1] }, 'wrong-value', 'time[1] is -2'],
    ['a time that is not a number', { time: [NaN], event: [1] }, 'wrong-value', 'time[0] is NaN'],
    ['an event that is neither 0 nor 1', { time: [1], event: [2] }, 'wrong-value', 'event[0] is 2'],
    ['columns of unequal length', { time: [1, 2], event: [1] }, 'wrong-length', 'event has 1 entries'],
    ['entry at the end', { time: [1], event: [1], entry: [1] }, 'entry-not-before-time', 'entry[0] is 1'],
    ['a broken frequency', { time: [1], event: [1], weights: [1.5] }, 'wrong-value', 'weights[0] is 1.5'],
  ])('for %s, with the place', (_, input, refused, message) => {
    expect(kaplanMeier(input)).toMatchObject({
      refused,
      message: expect.stringContaining(message) as string,
    });
  });

  it('for a level of 95', () => {
    expect(kaplanMeier({ time: [1], event: [1] }, { level: 95 })).toMatchObject({ refused: 'wrong-level' });
  });
});
