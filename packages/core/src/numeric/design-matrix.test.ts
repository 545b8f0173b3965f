import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { designMatrix, designRow, type DesignTerm } from './design-matrix';
import { isRefusal } from './refusal';

const arm = { kind: 'factor', name: 'arm', values: ['b', 'a', 'c', 'a'] } as const;
const age = { kind: 'numeric', name: 'age', values: [10, 12, 11, 9] } as const;

describe('the design matrix', () => {
  it('codes a factor by treatment contrasts, its first level in rising order the reference', () => {
    const design = designMatrix([age, arm], 4, { intercept: true });
    if (isRefusal(design)) throw new Error(design.message);
    expect(design.names).toEqual(['(intercept)', 'age', 'arm=b', 'arm=c']);
    expect(Array.from(design.values)).toEqual([1, 10, 1, 0, 1, 12, 0, 0, 1, 11, 0, 1, 1, 9, 0, 0]);
    expect(design.terms).toEqual([
      { name: 'age', firstColumn: 1, columns: 1, levels: null },
      { name: 'arm', firstColumn: 2, columns: 2, levels: ['a', 'b', 'c'] },
    ]);
  });

  it('takes the levels in the order named, the first of them the reference', () => {
    const design = designMatrix([{ ...arm, levels: ['c', 'b', 'a'] }], 4, { intercept: false });
    if (isRefusal(design)) throw new Error(design.message);
    expect(design.names).toEqual(['arm=b', 'arm=a']);
    expect(Array.from(design.values)).toEqual([1, 0, 0, 1, 0, 0, 0, 1]);
  });

  it('orders numeric levels by size, not by their digits', () => {
    const design = designMatrix([{ kind: 'factor', name: 'dose', values: [10, 9, 10] }], 3, {
      intercept: false,
    });
    expect(isRefusal(design) ? design.message : design.names).toEqual(['dose=10']);
  });

  it.each<[string, DesignTerm[], string]>([
    ['a short column', [{ kind: 'numeric', name: 'age', values: [1, 2, 3] }], 'wrong-length'],
    ['a short factor', [{ kind: 'factor', name: 'arm', values: ['a', 'b'] }], 'wrong-length'],
    ['a number that is none', [{ ...age, values: [1, NaN, 3, 4] }], 'wrong-value'],
    ['an infinite number', [{ ...age, values: [1, Infinity, 3, 4] }], 'wrong-value'],
    ['a name given twice', [age, { ...arm, name: 'age' }], 'name-twice'],
    ['a factor with one level', [{ ...arm, values: ['a', 'a', 'a', 'a'] }], 'one-level'],
    ['a level named twice', [{ ...arm, levels: ['a', 'b', 'c', 'a'] }], 'level-twice'],
    ['a level that is not named', [{ ...arm, levels: ['a', 'b'] }], 'unknown-level'],
    ['a level that does not occur', [{ ...arm, levels: ['a', 'b', 'c', 'd'] }], 'absent-level'],
    ['a constant column beside a constant', [{ ...age, values: [2, 2, 2, 2] }], 'dependent-columns'],
    [
      'a sum of other columns',
      [age, { kind: 'numeric', name: 'twice', values: [20, 24, 22, 18] }],
      'dependent-columns',
    ],
    [
      'more columns than rows',
      [age, arm, { ...age, name: 'height', values: [3, 1, 4, 1] }],
      'dependent-columns',
    ],
  ])('refuses %s and says so', (_, terms, code) => {
    const design = designMatrix(terms, 4, { intercept: true });
    expect(isRefusal(design) ? design.refused : design.names).toBe(code);
  });

  it('names the dependent column and keeps a constant one where the model has no constant', () => {
    const constant: DesignTerm = { kind: 'numeric', name: 'one', values: [1, 1, 1, 1] };
    const refused = designMatrix([constant], 4, { intercept: false });
    expect(isRefusal(refused) ? refused.message : '').toContain('column one follows from the constant');
    const design = designMatrix([constant], 4, { intercept: false, constant: false });
    expect(isRefusal(design) ? design.message : design.names).toEqual(['one']);
  });

  it('keeps a calendar year, which hardly differs from a constant', () => {
    const design = designMatrix([{ kind: 'numeric', name: 'year', values: [2019, 2020, 2021, 2020] }], 4, {
      intercept: true,
    });
    expect(isRefusal(design)).toBe(false);
  });

  it('has in each row of a factor at most one 1, and a row of zeros for the reference', () => {
    const values = fc.array(fc.constantFrom('a', 'b', 'c', 'd'), { minLength: 4, maxLength: 30 });
    fc.assert(
      fc.property(values, (levels) => {
        const design = designMatrix([{ kind: 'factor', name: 'f', values: levels }], levels.length, {
          intercept: false,
        });
        if (isRefusal(design)) {
          expect(new Set(levels).size).toBe(1);
          return;
        }
        const reference = [...levels].sort()[0];
        levels.forEach((level, i) => {
          const row = design.values.subarray(i * design.columns, (i + 1) * design.columns);
          expect(row.reduce((sum, value) => sum + value, 0)).toBe(level === reference ? 0 : 1);
        });
      }),
    );
  });

  it('makes the row of a new subject as it made those of the sample', () => {
    const design = designMatrix([age, arm], 4, { intercept: true });
    if (isRefusal(design)) throw new Error(design.message);
    expect(designRow(design, { age: 12, arm: 'a' })).toEqual(design.values.slice(4, 8));
    expect(designRow(design, { age: 11, arm: 'c' })).toEqual(design.values.slice(8, 12));
  });

  it.each([
    ['a term left out', { age: 12 }, 'no-value'],
    ['a term the model lacks', { age: 12, arm: 'a', sex: 'f' }, 'unknown-term'],
    ['a level the model lacks', { age: 12, arm: 'd' }, 'unknown-level'],
    ['a text for a number', { age: 'old', arm: 'a' }, 'wrong-value'],
  ])('refuses a new subject with %s', (_, values, code) => {
    const design = designMatrix([age, arm], 4, { intercept: true });
    if (isRefusal(design)) throw new Error(design.message);
    const row = designRow(design, { ...values });
    expect(isRefusal(row) ? row.refused : row).toBe(code);
  });
});
