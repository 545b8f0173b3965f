import { describe, expect, it } from 'vitest';
import {
  constantTruthAgreement,
  differenceTrend,
  limitsOfAgreement,
  varyingTruthAgreement,
  type DifferenceTrend,
  type LimitsOfAgreement,
  type ReplicatedAgreement,
  type ReplicateWeighing,
} from '@longhold/core/agreement';
import { isRefusal, type Refusal } from '@longhold/core/numeric';
import { expectClose, expectWithin } from './closeness';
import { readFixture, readPublished } from './fixture';
import { CLOSED_FORM, printed } from './tolerances';

interface Pairs {
  readonly name: string;
  readonly first: readonly number[];
  readonly second: readonly number[];
  readonly level: number;
}
type Limits = Omit<LimitsOfAgreement, 'pairs'> & Pairs;
type Trend = Omit<DifferenceTrend, 'pairs'> & Pairs & { readonly pitmanP: number };
type Replicated = Omit<ReplicatedAgreement, 'subjects' | 'readings'>;
type Varying = Replicated &
  Pairs & { readonly subject: readonly number[]; readonly weighing: ReplicateWeighing };
type Constant = Replicated & {
  readonly name: string;
  readonly subject: readonly number[];
  readonly method: readonly ('first' | 'second')[];
  readonly value: readonly number[];
};

// Source: t.test, qt(ncp), lm, cor.test, aov and the formulas of Zou 2013; see r/method-comparison.R.
const fixture = readFixture<{ limits: Limits[]; trends: Trend[]; varying: Varying[]; constant: Constant[] }>(
  'method-comparison',
);

function answered<Answer extends object>(answer: Answer | Refusal): Answer {
  if (isRefusal(answer)) throw new Error(answer.message);
  return answer;
}

/** Every number under `expected` has its like in `actual`. Numbers below 1e-3 are compared as if they were that. */
function expectSame(actual: unknown, expected: unknown, path: string): void {
  if (typeof expected === 'number') {
    expect(typeof actual, path).toBe('number');
    expectClose(Number(actual), expected, CLOSED_FORM, path, 1e-3);
    return;
  }
  const found = Object.entries(actual ?? {});
  for (const [key, value] of Object.entries(expected ?? {})) {
    expectSame(found.find(([name]) => name === key)?.[1], value, `${path}.${key}`);
  }
}

describe('limits of agreement agree with R', () => {
  it.each(fixture.limits)('$name', ({ name, first, second, ...expected }) => {
    const { share, level } = expected;
    expectSame(answered(limitsOfAgreement({ first, second }, { share, level })), expected, name);
  });

  it('have the exact limits of tables of one-sided tolerance factors', () => {
    // Factors k for 95 % of a normal population with 95 % confidence, from memory of the published tables
    // (Natrella 1963): 2.911 for n = 10, 2.220 for n = 30. One-sided 95 % is the upper end of a 90 % interval, and
    // 95 % below a limit is the upper limit that holds 90 % between both.
    for (const [n, factor] of [
      [10, 2.911],
      [30, 2.22],
    ] as const) {
      const second = Array.from({ length: n }, (_, i) => Math.sin(i * i));
      const first = second.map(() => 0);
      const { bias, sd, upper } = answered(limitsOfAgreement({ first, second }, { share: 0.9, level: 0.9 }));
      expectWithin((upper.exact.upper - bias) / sd, factor, printed(3));
    }
  });
});

describe('the trend of differences agrees with R', () => {
  it.each(fixture.trends)('$name', ({ name, first, second, pitmanP, ...expected }) => {
    const trend = answered(differenceTrend({ first, second }, { level: expected.level }));
    expectSame(trend, expected, name);
    // Pitman's test of equal variances is the test of no correlation between sum and difference.
    expectClose(trend.difference.slopeP ?? NaN, pitmanP, CLOSED_FORM, 'p of Pitman');
  });
});

describe('limits of agreement from replicates agree with R', () => {
  it.each(fixture.varying)(
    'true value varies: $name',
    ({ name, subject, first, second, weighing, ...expected }) => {
      const { share, level } = expected;
      const actual = varyingTruthAgreement({ subject, first, second }, { share, level, weighing });
      expectSame(answered(actual), expected, name);
    },
  );

  it.each(fixture.constant)('true value constant: $name', ({ name, subject, method, value, ...expected }) => {
    const { share, level } = expected;
    const actual = constantTruthAgreement({ subject, method, value }, { share, level });
    expectSame(answered(actual), expected, name);
  });
});

/** The paper prints what a program in single precision gave: seven digits at most are right. */
const SINGLE = 2e-7;

describe('cardiac ejection by two methods (Bland and Altman 2007)', () => {
  const rows = readPublished('cardiac-ejection.csv').map((row) => row.map(Number));
  const column = (place: number): number[] => rows.map((row) => row[place] ?? NaN);
  const [subject, ventriculography, impedance] = [column(0), column(1), column(2)];

  it('has the printed limits where the true value varies', () => {
    // Differences in the paper are ventriculography minus impedance.
    const result = answered(varyingTruthAgreement({ subject, first: impedance, second: ventriculography }));
    expectWithin(result.bias, 0.6021667, printed(7));
    expectWithin(result.withinVariances[0] ?? NaN, 0.170714026, SINGLE);
    expectWithin(result.sd ** 2, 0.98133606, SINGLE);
    expectWithin(result.sd, 0.99062408, SINGLE);
    // The paper multiplies by 1.96.
    expectWithin(result.bias - 1.96 * result.sd, -1.3394565, SINGLE);
    expectWithin(result.bias + 1.96 * result.sd, 2.5437899, SINGLE);
  });

  it('has the printed spread where the true value is constant', () => {
    const result = answered(
      constantTruthAgreement({
        subject: [...subject, ...subject],
        method: [...impedance.map(() => 'first' as const), ...ventriculography.map(() => 'second' as const)],
        value: [...impedance, ...ventriculography],
      }),
    );
    // The paper centres its limits on the mean of all 60 differences, 0.602; here each subject counts once: 0.709, which
    // the paper prints as the mean of the subjects' differences.
    expectWithin(result.bias, 0.7092361, SINGLE);
    expectWithin(result.withinVariances[0] ?? NaN, 0.137874069, SINGLE);
    expectWithin(result.withinVariances[1] ?? NaN, 0.107227795, SINGLE);
    expectWithin(result.sd, 1.0518506, SINGLE);
  });
});
