import { describe, expect, it } from 'vitest';
import { isRefusal } from '@longhold/core/numeric';
import { turnbullCurve } from '@longhold/core/survival';
import { readFixture, type NumberOrNull } from './fixture';
import { MAXIMUM_HEIGHT } from './tolerances';

interface Case {
  readonly name: string;
  readonly left: number[];
  readonly right: NumberOrNull[];
  readonly count: number[];
  readonly cells: number;
  readonly logLikelihood: number;
  readonly gap: number;
  readonly survfitLogLikelihood: NumberOrNull;
}

// Source: 20,000 rounds of plain EM in R, and survival::survfit. See r/turnbull-awkward.R.
const { cases } = readFixture<{ cases: Case[] }>('turnbull-awkward');

describe('the interval-censored curve on awkward samples', () => {
  it.each(cases)('$name: its likelihood lies where R proves the maximum to lie', (expected) => {
    const { left, count } = expected;
    const fit = turnbullCurve({ left, right: expected.right.map((right) => right ?? Infinity), count });
    if (isRefusal(fit)) throw new Error(fit.message);
    expect(fit.converged).toBe(true);
    expect(fit.intervals.length).toBe(expected.cells);
    const rounding = MAXIMUM_HEIGHT * Math.abs(expected.logLikelihood);
    expect(fit.logLikelihood).toBeGreaterThanOrEqual(expected.logLikelihood - rounding);
    // The likelihood is concave: EM can lack no more than its gap a patient.
    expect(fit.logLikelihood).toBeLessThanOrEqual(
      expected.logLikelihood + fit.observations * expected.gap + rounding,
    );
  });

  it.each(cases)(
    "$name: it is at least as likely as survfit's",
    ({ left, right, count, survfitLogLikelihood }) => {
      const fit = turnbullCurve({ left, right: right.map((value) => value ?? Infinity), count });
      if (isRefusal(fit)) throw new Error(fit.message);
      const theirs = survfitLogLikelihood ?? -Infinity;
      expect(fit.logLikelihood).toBeGreaterThanOrEqual(theirs - MAXIMUM_HEIGHT * Math.abs(fit.logLikelihood));
    },
  );
});
