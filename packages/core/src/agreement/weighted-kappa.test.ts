import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { isRefusal, type Refusal } from '../numeric';
import { bootstrapKappa } from './kappa-bootstrap';
import { crossTable, weightedKappa, type KappaWeights } from './weighted-kappa';

function answered<Answer extends object>(answer: Answer | Refusal): Answer {
  if (isRefusal(answer)) throw new Error(answer.message);
  return answer;
}

const table = fc
  .integer({ min: 2, max: 6 })
  .chain((k) =>
    fc.array(fc.array(fc.nat({ max: 20 }), { minLength: k, maxLength: k }), { minLength: k, maxLength: k }),
  );
const weights = fc.constantFrom('unweighted', 'linear', 'quadratic');

describe('weighted kappa', () => {
  it('does not change when raters are exchanged or the order of categories is turned round', () => {
    fc.assert(
      fc.property(table, weights, (counts, chosen) => {
        const plain = weightedKappa(counts, { weights: chosen });
        if (isRefusal(plain)) return;
        const exchanged = counts.map((_, i) => counts.map((row) => row[i] ?? 0));
        const turned = counts.map((row) => row.toReversed()).toReversed();
        for (const other of [exchanged, turned]) {
          const found = answered(weightedKappa(other, { weights: chosen }));
          expect(found.kappa).toBeCloseTo(plain.kappa, 10);
          expect(found.standardError).toBeCloseTo(plain.standardError, 10);
        }
      }),
    );
  });

  it('is never above 1, and its errors and limits are numbers', () => {
    fc.assert(
      fc.property(table, weights, (counts, chosen) => {
        const found = weightedKappa(counts, { weights: chosen });
        if (isRefusal(found)) return;
        expect(found.kappa).toBeLessThanOrEqual(1);
        expect(Number.isFinite(found.standardError + found.nullStandardError)).toBe(true);
        for (const limits of [found.limits, found.logLimits]) {
          if (limits === null) continue;
          expect(limits.lower).toBeLessThanOrEqual(found.kappa + 1e-12);
          expect(limits.upper).toBeGreaterThanOrEqual(found.kappa - 1e-12);
          expect(limits.upper).toBeLessThanOrEqual(1);
        }
      }),
    );
  });

  it('with quadratic weights is the product-moment agreement of scores: 1 - sum d^2 / n over expected d^2', () => {
    const counts = [
      [5, 2, 0],
      [1, 7, 3],
      [0, 1, 6],
    ];
    let observed = 0;
    let expected = 0;
    const rows = counts.map((row) => row.reduce((sum, value) => sum + value, 0));
    const columns = [0, 1, 2].map((j) => counts.reduce((sum, row) => sum + (row[j] ?? 0), 0));
    counts.forEach((row, i) =>
      row.forEach((count, j) => {
        observed += (count * (i - j) ** 2) / 25;
        expected += ((rows[i] ?? 0) * (columns[j] ?? 0) * (i - j) ** 2) / 625;
      }),
    );
    expect(answered(weightedKappa(counts, { weights: 'quadratic' })).kappa).toBeCloseTo(
      1 - observed / expected,
      12,
    );
  });

  it('is exactly 1 without limits where raters always agree', () => {
    const full = answered(
      weightedKappa([
        [3, 0, 0],
        [0, 5, 0],
        [0, 0, 2],
      ]),
    );
    expect(full).toMatchObject({ kappa: 1, standardError: 0, limits: null, logLimits: null });
    expect(full.sameCategory.upper).toBe(1);
    expect(full.sameCategory.lower).toBeLessThan(0.8);
  });

  it.each<[string, number[][], KappaWeights, string]>([
    ['no categories', [], 'linear', 'too-few'],
    ['one category', [[4]], 'linear', 'too-few'],
    [
      'one category in use',
      [
        [9, 0],
        [0, 0],
      ],
      'linear',
      'one-category',
    ],
    [
      'no subjects',
      [
        [0, 0],
        [0, 0],
      ],
      'linear',
      'too-few',
    ],
    ['a table that is not square', [[1, 2], [3]], 'linear', 'wrong-length'],
    [
      'half a subject',
      [
        [1.5, 0],
        [0, 2],
      ],
      'linear',
      'wrong-value',
    ],
    [
      'a negative count',
      [
        [1, -1],
        [0, 2],
      ],
      'linear',
      'wrong-value',
    ],
    [
      'weights of another size',
      [
        [1, 1],
        [0, 2],
      ],
      [[1]],
      'wrong-weights',
    ],
    [
      'full agreement that weighs less than 1',
      [
        [1, 1],
        [0, 2],
      ],
      [
        [0.9, 0],
        [0, 1],
      ],
      'wrong-weights',
    ],
  ])('is refused for %s', (_, counts, chosen, code) => {
    expect(weightedKappa(counts, { weights: chosen })).toHaveProperty('refused', code);
  });
});

describe('the table of two raters', () => {
  const stages = ['CS1', 'CS2', 'CS3'];

  it('counts pairs, the first rater in rows', () => {
    expect(crossTable(['CS1', 'CS2', 'CS2'], ['CS1', 'CS3', 'CS3'], stages)).toEqual([
      [1, 0, 0],
      [0, 0, 2],
      [0, 0, 0],
    ]);
  });

  it.each([
    ['a category not named', ['CS1', 'CS7'], ['CS1', 'CS2'], stages, 'first[1] is CS7'],
    ['unequal lengths', ['CS1'], ['CS1', 'CS2'], stages, 'second has 2 entries'],
    ['a category named twice', ['CS1'], ['CS1'], ['CS1', 'CS1'], 'twice'],
    ['a number for a word', [1], ['CS1'], stages, 'first[0] is 1'],
  ])('is refused for %s', (_, first, second, categories, words) => {
    const refused = crossTable(first, second, categories);
    expect(isRefusal(refused) && refused.message).toContain(words);
  });
});

describe('the test of kappa', () => {
  it('is not made where the error under no agreement is 0 but for rounding', () => {
    const table = [
      [0, 1, 0],
      [0, 0, 0],
      [0, 1, 0],
    ];
    const weights = [
      [1, 0.1, 0.2],
      [0.3, 1, 0.6],
      [0.4, 0.7, 1],
    ];
    expect(answered(weightedKappa(table, { weights }))).toMatchObject({
      nullStandardError: 0,
      z: null,
      p: null,
    });
  });
});

describe('bootstrap limits of kappa', () => {
  const counts = [
    [10, 2, 1],
    [3, 9, 2],
    [0, 2, 11],
  ];

  it('are the same for the same seed and lie about kappa', () => {
    const drawn = answered(bootstrapKappa(counts, { weights: 'linear', replicates: 400, seed: 2 }));
    expect(answered(bootstrapKappa(counts, { weights: 'linear', replicates: 400, seed: 2 }))).toEqual(drawn);
    expect(drawn.percentile.lower).toBeLessThan(drawn.kappa);
    expect(drawn.accelerated?.upper).toBeGreaterThan(drawn.kappa);
  });

  it('are refused where there are more subjects than can be drawn one by one', () => {
    const many = [
      [5e8, 1],
      [1, 5e8],
    ];
    expect(bootstrapKappa(many)).toHaveProperty('refused', 'too-many');
  });

  it('are refused where many samples fall into one category', () => {
    const rare = [
      [9, 1],
      [0, 0],
    ];
    expect(bootstrapKappa(rare)).toHaveProperty('refused', 'undefined-samples');
  });
});
