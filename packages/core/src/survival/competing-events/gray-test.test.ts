import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { isRefusal, type Refusal } from '../../numeric';
import { grayTest, type GroupedCompetingTimes } from './gray-test';

function answered<Answer>(answer: Answer | Refusal): Answer {
  if (isRefusal(answer)) throw new Error(answer.message);
  return answer;
}

const rows = fc.array(
  fc.record({
    time: fc.integer({ min: 0, max: 9 }),
    cause: fc.constantFrom(0, 1, 1, 2),
    group: fc.constantFrom('a', 'b', 'c'),
    stratum: fc.constantFrom(1, 2),
    weight: fc.integer({ min: 1, max: 3 }),
  }),
  { minLength: 6, maxLength: 40 },
);
type Row = typeof rows extends fc.Arbitrary<(infer One)[]> ? One : never;

function columns(sample: readonly Row[]): GroupedCompetingTimes {
  return {
    time: sample.map(({ time }) => time),
    cause: sample.map(({ cause }) => cause),
    group: sample.map(({ group }) => group),
    stratum: sample.map(({ stratum }) => stratum),
  };
}

describe("Gray's test", () => {
  it('expects as many events as were observed, with a covariance whose rows sum to zero', () => {
    fc.assert(
      fc.property(rows, fc.constantFrom(0, 0.5, 1), (sample, rho) => {
        const test = grayTest(columns(sample), { rho });
        if (isRefusal(test)) return;
        const sum = (key: 'observed' | 'expected'): number =>
          test.groups.reduce((total, one) => total + one[key], 0);
        expect(sum('expected')).toBeCloseTo(sum('observed'), 9);
        const scale = Math.max(1, ...test.covariance.flat());
        for (const row of test.covariance) {
          expect(Math.abs(row.reduce((total, one) => total + one, 0)) / scale).toBeLessThan(1e-9);
        }
        expect(test.chiSquared).toBeGreaterThanOrEqual(0);
        expect(test.p).toBeGreaterThanOrEqual(0);
        expect(test.p).toBeLessThanOrEqual(1);
      }),
    );
  });

  it('does not depend on the order of rows, nor on whether a row is repeated or weighted', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        const repeated = sample.flatMap((row) => new Array<Row>(row.weight).fill(row)).reverse();
        const weighted = grayTest({ ...columns(sample), weights: sample.map(({ weight }) => weight) });
        const plain = grayTest(columns(repeated));
        if (isRefusal(weighted) || isRefusal(plain)) expect(weighted).toEqual(plain);
        else expect(weighted.chiSquared).toBeCloseTo(plain.chiSquared, 7);
      }),
    );
  });

  it('depends on the order of times only, not on their size', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        const stretched = sample.map((row) => ({ ...row, time: row.time ** 3 + row.time }));
        expect(grayTest(columns(stretched))).toEqual(grayTest(columns(sample)));
      }),
    );
  });

  it('takes all other causes as one', () => {
    fc.assert(
      fc.property(rows, (sample) => {
        const many = sample.map((row, i) => ({ ...row, cause: row.cause === 2 ? 2 + (i % 3) : row.cause }));
        expect(grayTest(columns(many))).toEqual(grayTest(columns(sample)));
      }),
    );
  });

  it('finds groups alike that are copies of one another', () => {
    const one = { time: [1, 2, 3, 4, 5], cause: [1, 2, 1, 0, 1] };
    const test = grayTest({
      time: [...one.time, ...one.time],
      cause: [...one.cause, ...one.cause],
      group: [1, 1, 1, 1, 1, 2, 2, 2, 2, 2],
    });
    expect(answered(test).chiSquared).toBeCloseTo(0, 12);
    expect(answered(test).p).toBeCloseTo(1, 5);
  });

  it('answers in numbers where one group has all events before the other has any', () => {
    const test = grayTest({
      time: [1, 1, 1, 1, 2, 3, 4, 5],
      cause: [1, 1, 1, 1, 1, 1, 1, 1],
      group: ['a', 'a', 'a', 'a', 'b', 'b', 'b', 'b'],
    });
    expect(answered(test).chiSquared).toBeGreaterThan(3);
    expect(Number.isFinite(answered(test).chiSquared)).toBe(true);
  });

  it('says where the pooled incidence reached 1 while groups were still compared', () => {
    const apart = {
      time: [1, 1, 1, 1, 2, 3, 2, 3, 4, 5],
      cause: [1, 1, 1, 1, 1, 1, 1, 1, 1, 1],
      group: ['a', 'a', 'a', 'a', 'b', 'b', 'c', 'c', 'c', 'c'],
    };
    expect(answered(grayTest(apart)).pooledReachedOne).toBe(false);
    const further = { ...apart, time: [1, 1, 1, 1, 2, 5, 2, 3, 4, 5] };
    expect(answered(grayTest(further)).pooledReachedOne).toBe(true);
  });

  it('has no statistic where ties make a variance negative', () => {
    // cuminc of R gives -1.28 and a p value of 1.
    const tied = {
      time: [1, 1, 1, 2, 2, 2, 2, 2, 2, 3, 3, 3, 3, 3],
      cause: [0, 0, 1, 1, 1, 1, 0, 1, 0, 1, 1, 1, 1, 1],
      group: ['b', 'c', 'a', 'b', 'c', 'c', 'b', 'a', 'c', 'b', 'a', 'b', 'c', 'b'],
    };
    expect(grayTest(tied)).toMatchObject({ refused: 'negative-variance' });
  });

  it.each([
    ['one group', { time: [1, 2], cause: [1, 1], group: ['a', 'a'] }, 'one-group'],
    ['no event of the cause', { time: [1, 2], cause: [0, 2], group: ['a', 'b'] }, 'no-events-of-cause'],
    ['everything censored', { time: [1, 2], cause: [0, 0], group: ['a', 'b'] }, 'no-events-of-cause'],
    [
      'groups never in one stratum',
      { time: [1, 3], cause: [1, 1], group: [1, 2], stratum: [1, 2] },
      'nothing-to-compare',
    ],
    ['a cause below 0', { time: [1, 2], cause: [1, -1], group: [1, 2] }, 'wrong-value'],
    ['no rows', { time: [], cause: [], group: [] }, 'no-rows'],
    ['a group column of another length', { time: [1, 2], cause: [1, 1], group: ['a'] }, 'wrong-length'],
    [
      'a stratum that is not a number',
      { time: [1, 2], cause: [1, 1], group: [1, 2], stratum: [1, NaN] },
      'wrong-value',
    ],
  ])('is refused for %s', (_, input: GroupedCompetingTimes, refused) => {
    expect(grayTest(input)).toMatchObject({ refused });
  });

  it('is refused for a power below 0', () => {
    const input = { time: [1, 2, 3], cause: [1, 1, 1], group: ['a', 'b', 'a'] };
    expect(grayTest(input, { rho: -1 })).toMatchObject({ refused: 'wrong-rho' });
  });
});
