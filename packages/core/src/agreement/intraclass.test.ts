import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { isRefusal, type Refusal } from '../numeric';
import { intraclassCorrelations, type IntraclassCorrelations } from './intraclass';

function answered(answer: IntraclassCorrelations | Refusal): IntraclassCorrelations {
  if (isRefusal(answer)) throw new Error(answer.message);
  return answer;
}

const estimates = (ratings: readonly (readonly number[])[]): (number | null)[] =>
  answered(intraclassCorrelations(ratings)).coefficients.map(({ estimate }) => estimate);

const table = fc
  .tuple(fc.integer({ min: 3, max: 8 }), fc.integer({ min: 2, max: 5 }))
  .chain(([n, k]) =>
    fc.array(fc.array(fc.integer({ min: 0, max: 60 }), { minLength: k, maxLength: k }), {
      minLength: n,
      maxLength: n,
    }),
  )
  .filter((rows) => new Set(rows.map((row) => row.reduce((sum, value) => sum + value, 0))).size > 1);

function expectNear(actual: readonly (number | null)[], expected: readonly (number | null)[]): void {
  expected.forEach((value, i) => {
    const found = actual[i] ?? null;
    if (value === null || found === null || Math.abs(value) > 1e3) return;
    expect(Math.abs(found - value)).toBeLessThan(1e-6 * Math.max(1, Math.abs(value)));
  });
}

describe('intraclass correlations', () => {
  it('do not change with unit, origin, or order of subjects and raters', () => {
    fc.assert(
      fc.property(table, (rows) => {
        const plain = estimates(rows);
        expectNear(estimates(rows.map((row) => row.map((value) => 3 * value - 40))), plain);
        expectNear(estimates(rows.toReversed()), plain);
        expectNear(estimates(rows.map((row) => row.toReversed())), plain);
      }),
    );
  });

  it('of consistency do not see a rater who reads higher by a constant; those of agreement do', () => {
    const rows = [
      [1, 2],
      [4, 4],
      [6, 7],
      [9, 8],
    ];
    const shifted = rows.map(([a = 0, b = 0]) => [a, b + 5]);
    const [, agreement = 0, consistency = 0] = estimates(rows);
    const [, shiftedAgreement = 0, shiftedConsistency = 0] = estimates(shifted);
    expect(shiftedConsistency).toBeCloseTo(consistency ?? NaN, 12);
    expect(shiftedAgreement ?? NaN).toBeLessThan(agreement ?? NaN);
  });

  it('hold their own estimate between their limits', () => {
    fc.assert(
      fc.property(table, (rows) => {
        for (const { estimate, lower, upper } of answered(intraclassCorrelations(rows)).coefficients) {
          if (estimate === null || lower === null || upper === null) continue;
          expect(lower).toBeLessThanOrEqual(estimate + 1e-9);
          expect(upper).toBeGreaterThanOrEqual(estimate - 1e-9);
          expect(upper).toBeLessThanOrEqual(1);
        }
      }),
    );
  });

  it('are 1 without limits or test where raters always agree', () => {
    const { coefficients, standardErrorAgreement } = answered(
      intraclassCorrelations([
        [70.1, 70.1, 70.1],
        [72.7, 72.7, 72.7],
        [68.3, 68.3, 68.3],
      ]),
    );
    for (const one of coefficients) expect(one).toMatchObject({ estimate: 1, lower: null, f: null, p: null });
    expect(standardErrorAgreement).toBe(0);
  });

  it('have no average where subjects do not differ at all', () => {
    const { coefficients } = answered(
      intraclassCorrelations([
        [1, 2],
        [2, 1],
      ]),
    );
    const average = coefficients.find(({ form }) => form === 'ICC(1,k)');
    expect(average).toMatchObject({ estimate: null, lower: null, upper: null });
  });

  it('have limits that are numbers at a level so near 1 that the F quantile is not', () => {
    const ratings = [
      [-1, 0],
      [0, 1e-6],
    ];
    const { coefficients } = answered(intraclassCorrelations(ratings, { level: 1 - 1e-12 }));
    for (const { lower, upper } of coefficients.slice(0, 3)) {
      expect(lower).toBeGreaterThanOrEqual(-1 - 1e-9);
      expect(upper).toBeLessThanOrEqual(1);
    }
  });

  it.each([
    ['no subjects', [], 'too-few'],
    ['one subject', [[1, 2]], 'too-few'],
    ['one rater', [[1], [2]], 'too-few'],
    ['a missing rating', [[1, 2], [3, 4], [5]], 'wrong-length'],
    [
      'NaN',
      [
        [1, 2],
        [3, NaN],
      ],
      'wrong-value',
    ],
    [
      'equal ratings throughout',
      [
        [4, 4],
        [4, 4],
      ],
      'no-variation',
    ],
  ])('are refused for %s', (_, ratings, code) => {
    expect(intraclassCorrelations(ratings)).toHaveProperty('refused', code);
  });
});
