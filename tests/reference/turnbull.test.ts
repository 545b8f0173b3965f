import { describe, expect, it } from 'vitest';
import { survivalAt, turnbull } from '@longhold/core/survival';
import { expectWithin } from './closeness';
import { readFixture, type NumberOrNull } from './fixture';
import { EARLY_STOPPED, MAXIMUM_HEIGHT, TURNBULL_MASS } from './tolerances';

interface Case {
  readonly name: string;
  readonly source: string;
  readonly left: number[];
  readonly right: NumberOrNull[];
  readonly logLikelihood: number;
  readonly optimalityGap: number;
  readonly unique: boolean;
  readonly cells: {
    readonly left: number[];
    readonly right: NumberOrNull[];
    readonly mass: number[];
    readonly survivalAfter: number[];
  };
  readonly survfit: { readonly time: number[]; readonly survival: number[] };
}

// Source: maximised in plain R to a gap of 1e-12; survival::survfit beside it. See r/turnbull.R.
const { cases } = readFixture<{ cases: Case[] }>('turnbull');

describe('the interval-censored curve agrees with R', () => {
  it.each(cases)('$name ($source)', (expected) => {
    expect(expected.unique).toBe(true);
    const fit = turnbull(expected.left.map((left, i) => ({ left, right: expected.right[i] ?? null })));
    expect(fit.converged).toBe(true);
    const height = Math.abs(expected.logLikelihood) * MAXIMUM_HEIGHT + fit.observations * fit.optimalityGap;
    expectWithin(fit.logLikelihood, expected.logLikelihood, height, 'log-likelihood');

    expected.cells.mass.forEach((mass, j) => {
      const right = expected.cells.right[j] ?? Infinity;
      const cell = fit.intervals.find((one) => one.left === expected.cells.left[j] && one.right === right);
      expectWithin(cell?.mass ?? NaN, mass, TURNBULL_MASS, `mass in (${expected.cells.left[j]}, ${right}]`);
      if (right === Infinity) return;
      const after = expected.cells.survivalAfter[j] ?? NaN;
      expectWithin(survivalAt(fit, right).survival, after, TURNBULL_MASS, `S(${right})`);
    });
    const elsewhere = fit.intervals.reduce((sum, cell) => sum + cell.mass, 0);
    expectWithin(elsewhere, 1, 1e-12, 'all mass');
  });

  it.each(cases)('$name: survfit, which stops early, comes near', (expected) => {
    const fit = turnbull(expected.left.map((left, i) => ({ left, right: expected.right[i] ?? null })));
    expected.survfit.time.forEach((time, i) => {
      const survival = expected.survfit.survival[i] ?? NaN;
      expectWithin(survivalAt(fit, time).survival, survival, EARLY_STOPPED, `S(${time})`);
    });
  });
});
