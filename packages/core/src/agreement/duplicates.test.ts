import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { isRefusal, type Refusal } from '../numeric';
import { detectableChange, standardErrorOfMeasurement } from './detectable-change';
import { duplicateError, duplicateSpread } from './duplicates';
import { withinSubjectSpread } from './within-subject';

function answered<Answer extends object>(answer: Answer | Refusal): Answer {
  if (isRefusal(answer)) throw new Error(answer.message);
  return answer;
}

const first = [76.2, 78.4, 74.9, 80.1, 77.3];
const second = [76.6, 78.3, 75.5, 80.4, 77.9];

describe('method error from duplicate readings', () => {
  it('by the method of moments does not change when all second readings are shifted; Dahlberg does', () => {
    const plain = answered(duplicateSpread({ first, second }));
    const shifted = answered(duplicateSpread({ first, second: second.map((value) => value + 3) }));
    expect(shifted.moments).toBeCloseTo(plain.moments, 10);
    expect(shifted.dahlberg).toBeGreaterThan(2);
  });

  it('splits into random error and bias: n Dahlberg^2 = (n - 1) moments^2 + n bias^2 / 2', () => {
    const readings = fc.array(
      fc.tuple(fc.integer({ min: -500, max: 500 }), fc.integer({ min: -500, max: 500 })),
      {
        minLength: 2,
        maxLength: 30,
      },
    );
    fc.assert(
      fc.property(readings, (pairs) => {
        const spread = answered(
          duplicateSpread({ first: pairs.map(([a]) => a), second: pairs.map(([, b]) => b) }),
        );
        const n = pairs.length;
        const parts = (n - 1) * spread.moments ** 2 + (n * spread.bias ** 2) / 2;
        expect(n * spread.dahlberg ** 2).toBeCloseTo(parts, 6);
      }),
    );
  });

  it('is, by moments, the within-subject SD once the bias is taken out', () => {
    const subject = first.flatMap((_, i) => [i, i]);
    const bias = answered(duplicateSpread({ first, second })).bias;
    const value = first.flatMap((reading, i) => [reading, (second[i] ?? NaN) - bias]);
    const spread = answered(withinSubjectSpread({ subject, value }));
    const moments = answered(duplicateSpread({ first, second })).moments;
    // n degrees of freedom there, n - 1 here.
    expect(spread.withinSd * Math.sqrt(5 / 4)).toBeCloseTo(moments, 10);
  });

  it('suspects a bias below p = 0.10 and where all differences are one number', () => {
    expect(answered(duplicateSpread({ first, second })).biasSuspected).toBe(true);
    expect(answered(duplicateSpread({ first: [1, 2], second: [2, 3] }))).toMatchObject({
      biasSuspected: true,
      biasT: null,
      biasP: null,
      moments: 0,
      momentsLimits: null,
    });
    expect(answered(duplicateSpread({ first: [1, 2], second: [1, 2] }))).toMatchObject({
      biasSuspected: false,
      dahlberg: 0,
      dahlbergLimits: null,
    });
  });

  it('tells differences that only rounding separates from differences that vary', () => {
    const spread = answered(duplicateSpread({ first: [76.2, 78.3, 75.1], second: [76.6, 78.7, 75.5] }));
    expect(spread).toMatchObject({ moments: 0, momentsLimits: null, biasT: null, biasP: null });
    expect(spread.bias).toBeCloseTo(0.4, 12);
  });

  it.each([
    ['no pairs', [], [], 'too-few', '0 pairs'],
    ['one pair', [1], [2], 'too-few', '1 pairs'],
    ['unequal lengths', [1, 2], [2], 'wrong-length', 'second has 1 entries'],
    ['NaN', [1, 2], [2, NaN], 'wrong-value', 'second[1] is NaN'],
    ['infinity', [1, -Infinity], [2, 3], 'wrong-value', 'first[1] is -Infinity'],
    ['a number too large to square', [1, 1e300], [2, 3], 'wrong-value', 'between 1e-50 and 1e50'],
  ])('is refused in words: %s', (_, one, other, code, words) => {
    const answer = duplicateSpread({ first: one, second: other });
    expect(isRefusal(answer) && answer.refused).toBe(code);
    expect(isRefusal(answer) && answer.message).toContain(words);
  });

  it('is refused at a level of 95, and absent from the answers below two pairs', () => {
    expect(duplicateSpread({ first, second }, { level: 95 })).toHaveProperty('refused', 'wrong-level');
    expect(duplicateError([[1, 2]])).toBeNull();
  });
});

describe('the smallest detectable change', () => {
  it('shrinks with the root of the group and of the readings averaged', () => {
    const one = answered(detectableChange({ sd: 0.8, df: 29 }));
    const many = answered(detectableChange({ sd: 0.8, df: 29 }, { groupSize: 16, readings: 4 }));
    expect(many.patient).toBeCloseTo(one.patient / 2, 12);
    expect(many.group).toBeCloseTo(one.patient / 8, 12);
    expect(many.groupLimits?.upper).toBeCloseTo((one.patientLimits?.upper ?? NaN) / 8, 12);
  });

  it('has no interval where it is not known how well the error is known', () => {
    expect(answered(detectableChange({ sd: 1, df: null })).patientLimits).toBeNull();
  });

  it.each([
    ['no error', { sd: 0, df: 5 }, {}],
    ['an error that is no number', { sd: NaN, df: 5 }, {}],
    ['no degrees of freedom', { sd: 1, df: 0 }, {}],
    ['half a patient', { sd: 1, df: 5 }, { groupSize: 0.5 }],
    ['a confidence of 1', { sd: 1, df: 5 }, { confidence: 1 }],
  ])('is refused for %s', (_, error, options) => {
    expect(isRefusal(detectableChange(error, options))).toBe(true);
  });
});

describe('the standard error of measurement', () => {
  it('is all of the spread at a reliability of 0 and none of it at 1', () => {
    expect(standardErrorOfMeasurement(4, 0)).toBe(4);
    expect(standardErrorOfMeasurement(4, 1)).toBe(0);
    expect(standardErrorOfMeasurement(4, 0.96)).toBeCloseTo(0.8, 12);
    expect(standardErrorOfMeasurement(4, 1.2)).toHaveProperty('refused', 'wrong-value');
  });
});

describe('the within-subject SD', () => {
  it.each([
    ['one subject', ['a', 'a'], [1, 2], 'too-few'],
    ['single readings only', ['a', 'b', 'c'], [1, 2, 3], 'no-replicates'],
    ['all readings equal', ['a', 'a', 'b'], [5, 5, 5], 'no-variation'],
    ['unequal lengths', ['a', 'a', 'b'], [5, 5], 'wrong-length'],
    ['nothing', [], [], 'too-few'],
  ])('is refused for %s', (_, subject, value, code) => {
    expect(withinSubjectSpread({ subject, value })).toHaveProperty('refused', code);
  });

  it('is exactly 0 where readings of each subject agree on a number that binary digits only approach', () => {
    const subject = [1, 1, 1, 2, 2, 2];
    const spread = answered(withinSubjectSpread({ subject, value: [0.1, 0.1, 0.1, 0.7, 0.7, 0.7] }));
    expect(spread).toMatchObject({ withinSd: 0, withinLimits: null, reliabilityLimits: null });
  });

  it('has no limits where all readings of each subject agree', () => {
    const spread = answered(withinSubjectSpread({ subject: [1, 1, 2, 2], value: [5, 5, 7, 7] }));
    expect(spread).toMatchObject({
      withinSd: 0,
      withinLimits: null,
      reliability: 1,
      reliabilityLimits: null,
    });
  });
});
