import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { isRefusal, type Refusal } from '../numeric';
import { differenceTrend } from './difference-trend';
import { limitsOfAgreement } from './limits-of-agreement';
import { constantTruthAgreement, varyingTruthAgreement } from './replicated-agreement';

function answered<Answer extends object>(answer: Answer | Refusal): Answer {
  if (isRefusal(answer)) throw new Error(answer.message);
  return answer;
}

const first = [70.2, 72.5, 68.9, 75.1, 71.3, 69.4];
const second = [70.9, 72.3, 69.9, 75.2, 72.2, 69.3];

describe('limits of agreement', () => {
  it('turn into their mirror image when the two methods are exchanged', () => {
    const there = answered(limitsOfAgreement({ first, second }));
    const back = answered(limitsOfAgreement({ first: second, second: first }));
    expect(back.upper.estimate).toBeCloseTo(-there.lower.estimate, 12);
    expect(back.upper.exact.upper).toBeCloseTo(-there.lower.exact.lower, 12);
    expect(back.upper.exact.lower).toBeCloseTo(-there.lower.exact.upper, 12);
    expect(back.upper.approximate.upper).toBeCloseTo(-there.lower.approximate.lower, 12);
  });

  it('have exact intervals that reach further outwards than inwards', () => {
    const { upper } = answered(limitsOfAgreement({ first, second }));
    expect(upper.exact.upper - upper.estimate).toBeGreaterThan(1.5 * (upper.estimate - upper.exact.lower));
  });

  it('have exact and approximate intervals that meet in large samples', () => {
    const n = 20_000;
    const many = Array.from({ length: n }, (_, i) => Math.sin(i * i));
    const { upper } = answered(limitsOfAgreement({ first: many.map(() => 0), second: many }));
    const width = upper.exact.upper - upper.exact.lower;
    expect(Math.abs(upper.exact.upper - upper.approximate.upper)).toBeLessThan(0.02 * width);
    expect(Math.abs(upper.exact.lower - upper.approximate.lower)).toBeLessThan(0.02 * width);
  });

  it.each([
    ['one pair', [1], [2], {}, 'too-few'],
    ['equal differences', [1, 2, 3], [2, 3, 4], {}, 'no-variation'],
    ['unequal lengths', [1, 2, 3], [2, 3], {}, 'wrong-length'],
    ['NaN', [1, NaN], [2, 3], {}, 'wrong-value'],
    ['a share of 1', [1, 2], [2, 4], { share: 1 }, 'wrong-level'],
  ])('are refused for %s', (_, one, other, options, code) => {
    expect(limitsOfAgreement({ first: one, second: other }, options)).toHaveProperty('refused', code);
  });
});

describe('the trend of differences', () => {
  it('finds the factor by which the second method magnifies', () => {
    const trend = answered(differenceTrend({ first, second: first.map((value) => 1.1 * value) }));
    expect(trend.proportionalFactor).toBeCloseTo(1.1, 10);
    expect(trend.difference.slopeP).toBeNull();
    expect(trend.equalityF).toBeNull();
  });

  it('is steeper the other way when methods are exchanged, by the same p', () => {
    const there = answered(differenceTrend({ first, second }));
    const back = answered(differenceTrend({ first: second, second: first }));
    expect(back.difference.slope).toBeCloseTo(-there.difference.slope, 12);
    expect(back.difference.slopeP).toBeCloseTo(there.difference.slopeP ?? NaN, 12);
    expect(back.equalityP).toBeCloseTo(there.equalityP ?? NaN, 12);
  });

  it.each([
    ['two pairs', [1, 2], [2, 4], 'too-few'],
    ['equal means', [1, 2, 3], [3, 2, 1], 'no-variation'],
    ['infinity', [1, 2, 3], [3, Infinity, 1], 'wrong-value'],
  ])('is refused for %s', (_, one, other, code) => {
    expect(differenceTrend({ first: one, second: other })).toHaveProperty('refused', code);
  });
});

describe('limits of agreement from replicates', () => {
  const subject = [1, 1, 2, 2, 3, 3];

  it('do not depend on the weighing where all subjects have equally many pairs', () => {
    const pairs = answered(varyingTruthAgreement({ subject, first, second }, { weighing: 'pairs' }));
    const subjects = answered(varyingTruthAgreement({ subject, first, second }, { weighing: 'subjects' }));
    expect(pairs.sd).toBeCloseTo(subjects.sd, 12);
    expect(pairs.upper.estimate).toBeCloseTo(subjects.upper.estimate, 12);
    expect(pairs.betweenVariance).toBeCloseTo(subjects.betweenVariance, 12);
  });

  it('hold their own estimates between their limits', () => {
    const rows = fc.array(
      fc.tuple(
        fc.integer({ min: 1, max: 4 }),
        fc.integer({ min: 0, max: 90 }),
        fc.integer({ min: 0, max: 90 }),
      ),
      { minLength: 6, maxLength: 30 },
    );
    fc.assert(
      fc.property(rows, fc.constantFrom('pairs', 'subjects'), (data, weighing) => {
        const agreement = varyingTruthAgreement(
          {
            subject: data.map(([whose]) => whose),
            first: data.map(([, one]) => one),
            second: data.map(([, , other]) => other),
          },
          { weighing },
        );
        if (isRefusal(agreement)) return;
        for (const { estimate, lower, upper } of [agreement.lower, agreement.upper]) {
          expect(lower).toBeLessThanOrEqual(estimate);
          expect(upper).toBeGreaterThanOrEqual(estimate);
        }
      }),
    );
  });

  it.each([
    ['one subject', [1, 1], [1, 2], [2, 2], 'too-few'],
    ['one pair a subject', [1, 2, 3], [1, 2, 3], [2, 2, 2], 'no-replicates'],
    ['equal differences', [1, 1, 2], [1, 2, 3], [2, 3, 4], 'no-variation'],
    ['differences equal but for rounding', [1, 1, 2], [76.2, 78.3, 75.1], [76.6, 78.7, 75.5], 'no-variation'],
    ['unequal lengths', [1, 1, 2], [1, 2, 3], [2, 3], 'wrong-length'],
  ])('are refused, true value varying, for %s', (_, whose, one, other, code) => {
    expect(varyingTruthAgreement({ subject: whose, first: one, second: other })).toHaveProperty(
      'refused',
      code,
    );
  });

  it.each([
    ['a subject of one method', [1, 1, 2, 2], ['first', 'second', 'first', 'first'], 'one-method'],
    [
      'no replicates by one method',
      [1, 1, 1, 2, 2],
      ['first', 'first', 'second', 'first', 'second'],
      'no-replicates',
    ],
    ['methods too few', [1, 1, 2], ['first', 'second'], 'wrong-length'],
  ] as const)('are refused, true value constant, for %s', (_, whose, method, code) => {
    const value = whose.map((label, i) => label + i * i);
    expect(constantTruthAgreement({ subject: whose, method, value })).toHaveProperty('refused', code);
  });

  it('are refused where all differences are equal but for rounding, whatever the design', () => {
    expect(limitsOfAgreement({ first: [76.2, 78.3], second: [76.6, 78.7] })).toHaveProperty(
      'refused',
      'no-variation',
    );
    const subject = [1, 1, 1, 1, 2, 2, 2, 2];
    const method = ['first', 'first', 'second', 'second'] as const;
    const value = [76.2, 76.2, 76.6, 76.6, 78.3, 78.3, 78.7, 78.7];
    expect(constantTruthAgreement({ subject, method: [...method, ...method], value })).toHaveProperty(
      'refused',
      'no-variation',
    );
  });
});
