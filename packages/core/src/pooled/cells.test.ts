import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  cellTotal,
  followingCells,
  hiddenCells,
  isSmall,
  isUnchanged,
  mayRelease,
  mayReleaseByCentre,
  mayShowPool,
  type CellSum,
  type CentreChange,
} from './cells';

const SMALLEST = 10;
const cells = (count: number, centres: number) =>
  fc.array(fc.array(fc.integer({ min: 0, max: 25 }), { minLength: centres, maxLength: centres }), {
    minLength: count,
    maxLength: count,
  });

/** A table of parts with two levels of sums: first = second + the next two; second = the last two. */
const SUMS: readonly CellSum[] = [
  { total: 0, parts: [1, 2, 3, 4] },
  { total: 1, parts: [5, 6] },
];

/** Five free parts by centre, made into a table in which the sums hold. */
function tableOf(parts: readonly (readonly number[])[]): number[][] {
  const [a = [], b = [], c = [], d = [], e = []] = parts;
  const add = (...lists: readonly (readonly number[])[]): number[] =>
    a.map((_, i) => lists.reduce((sum, list) => sum + (list[i] ?? 0), 0));
  const second = add(d, e);
  return [add(second, a, b, c), second, [...a], [...b], [...c], [...d], [...e]];
}

describe('a cell of the pool', () => {
  it('is shown only where each centre leaves the smallest cell of two other centres', () => {
    expect(mayShowPool([20, 20, 20], SMALLEST)).toBe(true);
    expect(mayShowPool([0, 0, 0], SMALLEST)).toBe(true);
    expect(mayShowPool([100, 5, 4], SMALLEST)).toBe(false);
    expect(mayShowPool([100, 5, 5], SMALLEST)).toBe(true);
    expect(mayShowPool([100, 50, 0], SMALLEST)).toBe(false);
    expect(mayShowPool([40, 12, 9], SMALLEST)).toBe(true);
    expect(mayShowPool([3, 3, 3], SMALLEST)).toBe(false);
    expect(mayShowPool([500], SMALLEST)).toBe(false);
  });

  it('never leaves a small number of others, whoever takes away the own patients', () => {
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 0, max: 40 }), { maxLength: 8 }), (cell) => {
        if (!mayShowPool(cell, SMALLEST) || cellTotal(cell) === 0) return;
        expect(cellTotal(cell)).toBeGreaterThanOrEqual(SMALLEST);
        cell.forEach((own, c) => {
          expect(cellTotal(cell) - own).toBeGreaterThanOrEqual(SMALLEST);
          expect(cell.filter((count, other) => other !== c && count > 0).length).toBeGreaterThanOrEqual(2);
        });
      }),
    );
  });
});

describe('withheld cells', () => {
  it('that nobody may learn cannot be worked out by any linear combination of those shown', () => {
    fc.assert(
      fc.property(cells(5, 4), (parts) => {
        const table = tableOf(parts);
        const hidden = hiddenCells(table, SUMS, (cell) => mayShowPool(cell, SMALLEST));
        const secret = (cell: number): boolean => !mayShowPool(table[cell] ?? [], SMALLEST);
        expect(followingCells(table.length, SUMS, hidden).filter(secret)).toEqual([]);
        table.forEach((cell, i) => {
          if (hidden[i] === false) expect(mayShowPool(cell, SMALLEST)).toBe(true);
        });
      }),
      { numRuns: 2000 },
    );
  });

  it('leave no small group behind: what a shown total lacks is itself no small number of patients', () => {
    fc.assert(
      fc.property(cells(5, 4), (parts) => {
        const table = tableOf(parts);
        const hidden = hiddenCells(table, SUMS, (cell) => mayShowPool(cell, SMALLEST));
        for (const { total, parts: own } of SUMS) {
          if (hidden[total] === true) continue;
          const unseen = own.filter((part) => hidden[part] === true);
          const rest =
            table[0]?.map((_, c) => unseen.reduce((sum, part) => sum + (table[part]?.[c] ?? 0), 0)) ?? [];
          if (unseen.length > 0) expect(mayShowPool(rest, SMALLEST)).toBe(true);
        }
      }),
      { numRuns: 2000 },
    );
  });

  it('are the fewest where one small part and its smallest neighbour are enough', () => {
    const table = tableOf([
      [20, 20, 20],
      [5, 1, 0],
      [12, 13, 14],
      [30, 30, 30],
      [40, 40, 40],
    ]);
    const hidden = hiddenCells(table, SUMS, (cell) => mayShowPool(cell, SMALLEST));
    expect(hidden).toEqual([false, false, false, true, true, false, false]);
  });
});

const certain = (...counts: readonly number[]): CentreChange[] =>
  counts.map((patients) => ({ patients, orMore: false }));
const atLeast = (patients: number): CentreChange => ({ patients, orMore: true });

describe('a new pooled answer', () => {
  it('waits until its difference from the last one speaks of no few patients', () => {
    expect(mayRelease(certain(4, 3, 2), SMALLEST)).toBe(false);
    expect(mayRelease(certain(40, 3, 0), SMALLEST)).toBe(false);
    expect(mayRelease(certain(40, 0, 0), SMALLEST)).toBe(true);
    expect(mayRelease(certain(12, 11, 0), SMALLEST)).toBe(true);
  });

  it('does not rely on changes of which only the least number is known', () => {
    expect(mayRelease([...certain(40, 0), atLeast(0)], SMALLEST)).toBe(false);
    expect(mayRelease([...certain(40, 0), atLeast(1)], SMALLEST)).toBe(false);
    expect(mayRelease([...certain(40, 0), atLeast(10)], SMALLEST)).toBe(true);
    expect(mayRelease([...certain(40, 10), atLeast(0)], SMALLEST)).toBe(true);
    expect(isUnchanged([atLeast(0)])).toBe(false);
  });

  it('is kept from whoever sees the centres while few changed in one of them', () => {
    expect(mayReleaseByCentre(certain(40, 0, 12), SMALLEST)).toBe(true);
    expect(mayReleaseByCentre(certain(40, 30, 3), SMALLEST)).toBe(false);
    expect(mayReleaseByCentre([...certain(40), atLeast(3)], SMALLEST)).toBe(false);
    expect(mayReleaseByCentre([...certain(40), atLeast(0)], SMALLEST)).toBe(false);
  });

  it('never differs from the last one by a small number that a centre could isolate', () => {
    const change = fc.record({ patients: fc.integer({ min: 0, max: 30 }), orMore: fc.boolean() });
    const more = fc.array(fc.integer({ min: 0, max: 30 }), { minLength: 6, maxLength: 6 });
    fc.assert(
      fc.property(fc.array(change, { maxLength: 6 }), more, (changed, extra) => {
        if (!mayRelease(changed, SMALLEST)) return;
        const real = changed.map(({ patients, orMore }, c) => patients + (orMore ? (extra[c] ?? 0) : 0));
        for (const own of [0, ...real]) expect(isSmall(cellTotal(real) - own, SMALLEST)).toBe(false);
      }),
    );
  });
});
