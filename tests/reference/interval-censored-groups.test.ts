import { describe, expect, it } from 'vitest';
import { isRefusal } from '@longhold/core/numeric';
import {
  groupTest,
  type GroupTest,
  type GroupTestInput,
  type GroupTestOptions,
} from '@longhold/core/survival';
import { expectAllClose, expectClose, expectWithin } from './closeness';
import { readFixture, readPublished, type NumberOrNull } from './fixture';
import { CLOSED_FORM, MAXIMUM_PLACE, printed } from './tolerances';

interface Expected {
  readonly scores: number[];
  readonly covariance: number[][];
  readonly statistic: number;
  readonly p: number;
  readonly trend: number;
}

interface Case {
  readonly name: string;
  readonly source: string;
  readonly left: number[];
  readonly right: NumberOrNull[];
  readonly group: string[];
  readonly stratum: string[];
  readonly sun: Expected;
  readonly finkelstein: Expected;
}

interface Exact {
  readonly name: string;
  readonly time: number[];
  readonly status: number[];
  readonly group: string[];
  readonly stratum: string[];
  readonly excess: number[];
}

interface Fixture {
  readonly cases: Case[];
  readonly exact: Exact[];
  readonly enumerated: {
    readonly left: number[];
    readonly right: NumberOrNull[];
    readonly first: boolean[];
    readonly variance: number;
    readonly p: number;
  };
}

// Source: formulas written out in R, and survival::survdiff. See r/interval-censored-groups.R.
const { cases, exact, enumerated } = readFixture<Fixture>('interval-censored-groups');

function tested(input: GroupTestInput, options: GroupTestOptions = {}): GroupTest {
  const test = groupTest(input, options);
  if (isRefusal(test)) throw new Error(test.message);
  return test;
}

function open(right: readonly NumberOrNull[]): number[] {
  return right.map((value) => value ?? Infinity);
}

const byForm = cases.flatMap((one) => [
  { ...one, form: 'sun' as const, expected: one.sun },
  { ...one, form: 'finkelstein' as const, expected: one.finkelstein },
]);

describe('the interval-censored log-rank test agrees with its formulas in R', () => {
  it.each(byForm)('$form, $name ($source)', ({ left, right, group, stratum, form, expected }) => {
    const test = tested({ times: { left, right: open(right) }, group, stratum }, { form });
    const scores = test.groups.map(({ score }) => score);
    const size = Math.sqrt(expected.covariance[0]?.[0] ?? NaN);
    expectAllClose(scores, expected.scores, MAXIMUM_PLACE, 'scores', size);
    test.covariance.forEach((line, g) => {
      expectAllClose(line, expected.covariance[g] ?? [], MAXIMUM_PLACE, `covariance ${g}`);
    });
    expectClose(test.statistic, expected.statistic, MAXIMUM_PLACE, 'statistic');
    expectClose(test.p, expected.p, MAXIMUM_PLACE, 'p');
    expectClose(test.trend.z, expected.trend, MAXIMUM_PLACE, 'trend');
  });

  // Fay and Shaw, Journal of Statistical Software 2010;36(2), from memory: the test on these 94 patients.
  it('gives the published test of the cosmetic deterioration', () => {
    const rows = readPublished('cosmetic-deterioration.csv');
    const left = rows.map(([, from]) => Number(from));
    const right = rows.map(([, , to]) => (to === '' ? Infinity : Number(to)));
    const input = { times: { left, right }, group: rows.map(([arm]) => arm ?? '') };
    const sun = tested(input);
    expectWithin(sun.groups[1]?.score ?? NaN, 9.141846, printed(6), 'score of the second arm');
    expectWithin(Math.sqrt(sun.statistic), 2.6684, printed(4), 'Z');
    expectWithin(sun.p, 0.007622, printed(6), 'p');
    const finkelstein = tested(input, { form: 'finkelstein' });
    expectWithin(finkelstein.groups[1]?.score ?? NaN, 9.944182, printed(6), 'score of the second arm');
  });

  it.each(exact)("has survdiff's observed minus expected with exact times: $name", (expected) => {
    const { time, status, group, stratum, excess } = expected;
    const right = time.map((value, i) => (status[i] === 1 ? value : Infinity));
    const test = tested({ times: { left: time, right }, group, stratum });
    const scores = test.groups.map(({ score }) => score);
    expectAllClose(scores, excess, CLOSED_FORM, 'observed minus expected', 1);
  });

  it('has the variance and the p value of all permutations, counted one by one', () => {
    const { left, right, first, variance, p } = enumerated;
    const group = first.map((inFirst) => (inFirst ? 'a' : 'b'));
    const permutations = 20_000;
    const test = tested({ times: { left, right: open(right) }, group }, { permutations, seed: 3 });
    expectClose(test.covariance[0]?.[0] ?? NaN, variance, MAXIMUM_PLACE, 'variance');
    const noise = 4 * Math.sqrt((p * (1 - p)) / permutations);
    expectWithin(test.permutationP ?? NaN, p, noise, 'p by permutation');
    expect(test.permutationP).not.toBe(test.p);
  });
});
