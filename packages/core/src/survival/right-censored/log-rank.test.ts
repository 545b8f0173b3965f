import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { isRefusal, type Refusal } from '../../numeric';
import { logRankTest, logRankTrend, type GroupedTimes } from './log-rank';

function answered<Answer>(answer: Answer | Refusal): Answer {
  if (isRefusal(answer)) throw new Error(answer.message);
  return answer;
}

const rows = fc.array(
  fc.record({
    time: fc.integer({ min: 0, max: 9 }),
    event: fc.constantFrom(0, 1, 1),
    group: fc.constantFrom('a', 'b', 'c'),
    stratum: fc.constantFrom(1, 2),
    weight: fc.integer({ min: 1, max: 3 }),
  }),
  { minLength: 6, maxLength: 40 },
);
type Row = typeof rows extends fc.Arbitrary<(infer One)[]> ? One : never;

function columns(sample: readonly Row[]): GroupedTimes {
  return {
    time: sample.map(({ time }) => time),
    event: sample.map(({ event }) => event),
    group: sample.map(({ group }) => group),
    stratum: sample.map(({ stratum }) => stratum),
  };
}

describe('the log-rank test', () => {
  it('expects as many events as were observed, in all', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        const test = logRankTest(columns(sample));
        if (isRefusal(test)) return;
        const sum = (key: 'observed' | 'expected'): number =>
          test.groups.reduce((total, one) => total + one[key], 0);
        expect(sum('expected')).toBeCloseTo(sum('observed'), 9);
        expect(test.p).toBeGreaterThanOrEqual(0);
        expect(test.p).toBeLessThanOrEqual(1);
      }),
    );
  });

  it('does not depend on the order of rows, nor on whether a row is repeated or weighted', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        const repeated = sample.flatMap((row) => new Array<Row>(row.weight).fill(row)).reverse();
        const weights = sample.map(({ weight }) => weight);
        const weighted = logRankTest({ ...columns(sample), weights });
        const plain = logRankTest(columns(repeated));
        if (isRefusal(weighted) || isRefusal(plain)) expect(weighted).toEqual(plain);
        else expect(weighted.chiSquared).toBeCloseTo(plain.chiSquared, 8);
      }),
    );
  });

  it('depends on the order of times only, not on their size', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        const stretched = sample.map((row) => ({ ...row, time: row.time ** 3 + row.time }));
        expect(logRankTest(columns(stretched))).toEqual(logRankTest(columns(sample)));
      }),
    );
  });

  it('has one degree of freedom less where two groups were never at risk with the others', () => {
    const test = logRankTest({
      time: [1, 2, 3, 4, 1, 2, 3, 4],
      event: [1, 1, 1, 0, 1, 1, 0, 1],
      group: ['a', 'b', 'a', 'b', 'c', 'd', 'c', 'd'],
      stratum: [1, 1, 1, 1, 2, 2, 2, 2],
    });
    expect(answered(test).degreesOfFreedom).toBe(2);
  });

  it('for a trend of two groups is the test itself, whatever the scores', () => {
    fc.assert(
      fc.property(rows, fc.integer({ min: 1, max: 50 }), (sample, far) => {
        const two = columns(sample.map((row) => ({ ...row, group: row.group === 'c' ? 'a' : row.group })));
        const test = logRankTest(two);
        const trend = logRankTrend(two, { scores: [-far, 1e6] });
        if (isRefusal(test) || isRefusal(trend)) expect(isRefusal(test) && isRefusal(trend)).toBe(true);
        else expect(trend.chiSquared).toBeCloseTo(test.chiSquared, 8);
      }),
    );
  });

  it.each([
    ['one group', { time: [1, 2], event: [1, 1], group: ['a', 'a'] }, 'one-group'],
    ['no event', { time: [1, 2], event: [0, 0], group: ['a', 'b'] }, 'no-events'],
    [
      'groups never at risk together',
      { time: [1, 3], event: [1, 1], group: [1, 2], entry: [0, 2] },
      'nothing-to-compare',
    ],
    ['all events at the last time', { time: [2, 2], event: [1, 1], group: [1, 2] }, 'nothing-to-compare'],
    ['a group column of another length', { time: [1, 2], event: [1, 1], group: ['a'] }, 'wrong-length'],
    ['a group that is not a number', { time: [1, 2], event: [1, 1], group: [1, NaN] }, 'wrong-value'],
  ])('is refused for %s', (_, input: GroupedTimes, refused) => {
    expect(logRankTest(input)).toMatchObject({ refused });
  });

  it('is refused for powers below 0, and its trend for scores of another number', () => {
    const input = { time: [1, 2, 3], event: [1, 1, 1], group: ['a', 'b', 'a'] };
    expect(logRankTest(input, { weighting: { rho: -1, gamma: 0 } })).toMatchObject({
      refused: 'wrong-weighting',
    });
    expect(logRankTrend(input, { scores: [1, 2, 3] })).toMatchObject({ refused: 'wrong-length' });
  });
});
