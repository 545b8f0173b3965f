import { describe, expect, it } from 'vitest';
import {
  kaplanMeier,
  survivalAt,
  survivalReadings,
  turnbull,
  type CensoredInterval,
} from '@longhold/core/survival';
import { answered } from './answered';
import { expectWithin } from './closeness';
import { readPublished } from './fixture';
import { printed } from './tolerances';

// Finkelstein and Wolfe, Biometrics 1985;41:933-945: months to cosmetic deterioration of the breast.
const rows = readPublished('cosmetic-deterioration.csv');

function arm(name: string): CensoredInterval[] {
  return rows
    .filter(([arm]) => arm === name)
    .map(([, left, right]) => ({ left: Number(left), right: right === '' ? null : Number(right) }));
}

// Survival after each innermost interval, recomputed to four digits; r/turnbull.R proves the maximum.
const RADIOTHERAPY: [number, number][] = [
  [5, 0.9537],
  [7, 0.9203],
  [8, 0.8316],
  [12, 0.7609],
  [25, 0.6682],
  [34, 0.5864],
  [40, 0.4656],
  [48, 0],
];
const BOTH: [number, number][] = [
  [5, 0.9567],
  [8, 0.9134],
  [12, 0.8442],
  [17, 0.6988],
  [19, 0.5577],
  [20, 0.442],
  [25, 0.3421],
  [31, 0.2712],
  [36, 0.1104],
  [48, 0.0552],
  [60, 0],
];
// Printed for the radiotherapy arm. The last, .467, is not the maximum's: the likelihood is higher at .4656.
const PRINTED: [number, number][] = [
  [5, 0.954],
  [7, 0.92],
  [8, 0.832],
  [12, 0.761],
  [25, 0.668],
  [34, 0.586],
];

describe('interval-censored deterioration (Finkelstein and Wolfe 1985)', () => {
  it.each([
    ['radiotherapy', 46, RADIOTHERAPY],
    ['radiotherapy and chemotherapy', 48, BOTH],
  ] as const)('%s, %i patients', (name, patients, expected) => {
    const fit = turnbull(arm(name));
    expect(fit.observations).toBe(patients);
    expect(fit.converged).toBe(true);
    for (const [time, survival] of expected) {
      expectWithin(survivalAt(fit, time).survival, survival, printed(4), `S(${time})`);
    }
  });

  it('agrees with the printed curve of the radiotherapy arm', () => {
    const fit = turnbull(arm('radiotherapy'));
    for (const [time, survival] of PRINTED) {
      expectWithin(survivalAt(fit, time).survival, survival, printed(3), `S(${time})`);
    }
    const printedLast = 0.467;
    expectWithin(survivalAt(fit, 40).survival, printedLast, 0.002, 'S(40)');
  });

  it('shows what the conventional curve makes of the same visits', () => {
    const times = arm('radiotherapy');
    const at = (moment: (time: CensoredInterval) => number, month: number): number => {
      const curve = answered(
        kaplanMeier({
          time: times.map(moment),
          event: times.map(({ right }) => (right === null ? 0 : 1)),
        }),
      );
      return answered(survivalReadings(curve, [month]))[0]?.survival ?? NaN;
    };
    const visit = ({ left, right }: CensoredInterval): number => right ?? left;
    const middle = ({ left, right }: CensoredInterval): number =>
      right === null ? left : (left + right) / 2;
    const expected = [
      [12, 0.848, 0.804, 0.761],
      [24, 0.759, 0.689, 0.761],
      [36, 0.623, 0.582, 0.586],
    ] as const;
    const fit = turnbull(times);
    for (const [month, atVisit, atMiddle, interval] of expected) {
      expectWithin(at(visit, month), atVisit, 0.001, `at the visit, month ${month}`);
      expectWithin(at(middle, month), atMiddle, printed(3), `midpoint, month ${month}`);
      expectWithin(survivalAt(fit, month).survival, interval, printed(3), `interval, month ${month}`);
    }
  });
});
