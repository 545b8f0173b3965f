import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createRandom, isRefusal } from '../../numeric';
import { awkwardSample, KIND_NAMES } from './awkward-samples.fixture';
import { groupTest, type GroupTest, type GroupTestInput, type GroupTestOptions } from './group-test';
import { rankScores } from './rank-scores';

function tested(input: GroupTestInput, options: GroupTestOptions = {}): GroupTest {
  const test = groupTest(input, options);
  if (isRefusal(test)) throw new Error(test.message);
  return test;
}

function labels(size: number, groups: number, seed: number): number[] {
  const random = createRandom(seed);
  return Array.from({ length: size }, (_, i) => (i < groups ? i : random.integer(groups)));
}

const samples = fc.tuple(fc.constantFrom(...KIND_NAMES), fc.integer({ min: 12, max: 40 }), fc.nat(500));
const forms = fc.constantFrom('sun' as const, 'finkelstein' as const);

describe('rank scores', () => {
  it('add up to 0 and are at most 1', () => {
    fc.assert(
      fc.property(samples, forms, ([kind, size, seed], form) => {
        const scores = rankScores(awkwardSample(kind, size, seed), form);
        expect(scores.reduce((sum, value) => sum + value, 0)).toBeCloseTo(0, 6);
        scores.forEach((score) => expect(score).toBeLessThanOrEqual(1 + 1e-9));
      }),
    );
  });
});

describe('the log-rank test for interval-censored times', () => {
  it('asks only for the order of times', () => {
    fc.assert(
      fc.property(samples, forms, ([kind, size, seed], form) => {
        const times = awkwardSample(kind, size, seed);
        const stretched = {
          left: Array.from(times.left, (value) => value ** 3 + value),
          right: Array.from(times.right, (value) => value ** 3 + value),
        };
        const group = labels(size, 2, seed);
        const once = groupTest({ times, group }, { form });
        const again = groupTest({ times: stretched, group }, { form });
        if (isRefusal(once) || isRefusal(again)) expect(again).toEqual(once);
        else expect(again.statistic).toBeCloseTo(once.statistic, 6);
      }),
    );
  });

  it('does not depend on which name which group has, nor on the order of patients', () => {
    const times = awkwardSample('two visits at continuous times', 40, 2);
    const group = labels(40, 3, 7);
    const turned = Array.from({ length: 40 }, (_, i) => 39 - i);
    const { statistic } = tested({ times, group });
    expect(tested({ times, group: group.map((g) => ['z', 'y', 'x'][g] ?? '') }).statistic).toBeCloseTo(
      statistic,
      8,
    );
    const other = {
      left: turned.map((i) => times.left[i] ?? NaN),
      right: turned.map((i) => times.right[i] ?? NaN),
    };
    expect(tested({ times: other, group: turned.map((i) => group[i] ?? 0) }).statistic).toBeCloseTo(
      statistic,
      8,
    );
  });

  it('takes counts for as many patients', () => {
    const { left, right } = awkwardSample('whole numbers with ties', 15, 4);
    const group = labels(15, 2, 3);
    const count = group.map((_, i) => i % 3);
    const repeat = (values: ArrayLike<number>): number[] =>
      count.flatMap((n, i) => Array.from({ length: n }, () => values[i] ?? NaN));
    const counted = tested({ times: { left, right, count }, group });
    const written = tested({ times: { left: repeat(left), right: repeat(right) }, group: repeat(group) });
    expect(counted.statistic).toBeCloseTo(written.statistic, 8);
    expect(counted.groups.map(({ patients }) => patients)).toEqual(
      written.groups.map(({ patients }) => patients),
    );
  });

  it('asks of trend numbers only how they lie apart', () => {
    const input = { times: awkwardSample(KIND_NAMES[0] ?? '', 30, 4), group: labels(30, 3, 5) };
    const plain = tested(input, { trendScores: [0, 1, 3] }).trend.z;
    for (const [factor, offset] of [
      [1, 1e9],
      [1e200, 0],
      [1e-200, 0],
    ] as const) {
      const trendScores = [0, 1, 3].map((number) => number * factor + offset);
      expect(tested(input, { trendScores }).trend.z).toBeCloseTo(plain, 9);
    }
  });

  it('has for two groups the square of its trend, whatever their numbers', () => {
    const times = awkwardSample('two visits at continuous times', 30, 3);
    const test = tested({ times, group: labels(30, 2, 5) }, { trendScores: [3, -4] });
    expect(test.trend.z ** 2).toBeCloseTo(test.statistic, 9);
  });

  it('adds strata up: a stratum of one patient says nothing', () => {
    const times = awkwardSample('two visits at continuous times', 30, 3);
    const group = labels(30, 2, 5);
    const more = { left: [...Array.from(times.left), 1], right: [...Array.from(times.right), 2] };
    const stratum = [...group.map(() => 'all'), 'alone'];
    expect(tested({ times: more, group: [...group, 0], stratum }).statistic).toBeCloseTo(
      tested({ times, group }).statistic,
      9,
    );
  });

  it('sees a planted difference with a p value by permutation near that by chi-squared', () => {
    const random = createRandom(2);
    const group = labels(80, 2, 9);
    const left = group.map((g) => Math.floor(random.exponential(g === 0 ? 0.25 : 0.5)));
    const times = { left, right: left.map((value) => value + 1) };
    const test = tested({ times, group }, { permutations: 4000 });
    expect(test.p).toBeLessThan(0.05);
    expect(test.permutationP ?? NaN).toBeLessThan(0.05);
    expect(test.groups[1]?.score).toBeGreaterThan(0);
    expect(test.trend.z).toBeGreaterThan(0);
  });

  const four = { left: [0, 1, 2, 3], right: [1, 2, 3, 4] };
  it.each<[string, GroupTestInput, GroupTestOptions, string]>([
    ['no times', { times: { left: [], right: [] }, group: [] }, {}, 'no-data'],
    ['left above right', { times: { left: [3, 1], right: [2, 2] }, group: [1, 2] }, {}, 'not-an-interval'],
    ['labels of another length', { times: four, group: [1, 2] }, {}, 'wrong-length'],
    ['strata of another length', { times: four, group: [1, 2, 1, 2], stratum: [1] }, {}, 'wrong-length'],
    ['a label that is NaN', { times: four, group: [1, 2, NaN, 2] }, {}, 'wrong-value'],
    ['one group', { times: four, group: [1, 1, 1, 1] }, {}, 'one-group'],
    [
      'a group without patients',
      { times: { ...four, count: [1, 1, 1, 0] }, group: [1, 1, 2, 3] },
      {},
      'one-group',
    ],
    [
      'parts of patients',
      { times: { ...four, count: [1, 1, 1, 0.5] }, group: [1, 1, 2, 2] },
      {},
      'not-whole',
    ],
    [
      'more patients than can be permuted',
      { times: { ...four, count: [1, 1, 1, 1e9] }, group: [1, 1, 2, 2] },
      {},
      'too-many',
    ],
    [
      'strata with one group each',
      { times: four, group: [1, 1, 2, 2], stratum: [1, 1, 2, 2] },
      {},
      'no-information',
    ],
    [
      'times that are all alike',
      { times: { left: [1, 1], right: [2, 2] }, group: [1, 2] },
      {},
      'no-information',
    ],
    [
      'nobody seen with the event',
      { times: { left: [1, 2], right: [Infinity, Infinity] }, group: [1, 2] },
      {},
      'no-information',
    ],
    [
      'trend numbers for another number of groups',
      { times: four, group: [1, 2, 1, 2] },
      { trendScores: [1] },
      'wrong-trend',
    ],
    ['equal trend numbers', { times: four, group: [1, 2, 1, 2] }, { trendScores: [1, 1] }, 'wrong-trend'],
    ['half a permutation', { times: four, group: [1, 2, 1, 2] }, { permutations: 0.5 }, 'wrong-permutations'],
  ])('refuses %s', (_, input, options, code) => {
    const test = groupTest(input, options);
    expect(isRefusal(test) ? test.refused : test).toBe(code);
  });
});
