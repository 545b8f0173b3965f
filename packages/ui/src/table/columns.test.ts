import { describe, expect, it } from 'vitest';
import { pageCount, pageOf, pressHeading, shownText, sortRows, type Column } from './columns';

interface Row {
  code: string;
  late: number | null;
}
const rows: Row[] = [
  { code: 'P-10', late: 2 },
  { code: 'P-2', late: null },
  { code: 'P-1', late: 7 },
];
const columns: Column<Row>[] = [
  { key: 'code', label: 'Code', text: (row) => row.code },
  { key: 'late', label: 'Late', text: (row) => String(row.late), order: (row) => row.late },
];
const codes = (sorted: readonly Row[]): string[] => sorted.map((row) => row.code);

describe('a sorted table', () => {
  it('counts numbers within codes as people do', () => {
    expect(codes(sortRows(rows, columns, { sort: 'code', descending: false }))).toEqual([
      'P-1',
      'P-2',
      'P-10',
    ]);
  });

  it('puts missing values last in both directions', () => {
    expect(codes(sortRows(rows, columns, { sort: 'late', descending: false }))).toEqual([
      'P-10',
      'P-1',
      'P-2',
    ]);
    expect(codes(sortRows(rows, columns, { sort: 'late', descending: true }))).toEqual([
      'P-1',
      'P-10',
      'P-2',
    ]);
  });

  it('leaves the order alone for a column it does not have', () => {
    expect(sortRows(rows, columns, { sort: 'nothing', descending: true })).toBe(rows);
  });

  it('turns round when the same heading is pressed again, and starts on page 1', () => {
    const first = pressHeading({ sort: 'code', descending: false, page: 4 }, 'late');
    expect(first).toEqual({ sort: 'late', descending: false, page: 1 });
    expect(pressHeading(first, 'late').descending).toBe(true);
  });
});

describe('a paged table', () => {
  const many = Array.from({ length: 10_000 }, (_, index) => index);

  it('shows one page of ten thousand rows', () => {
    expect(pageCount(many.length, 100)).toBe(100);
    expect(pageOf(many, 2, 100)[0]).toBe(100);
    expect(pageOf(many, 2, 100)).toHaveLength(100);
  });

  it('shows the last page when asked for one beyond it, and one empty page of nothing', () => {
    expect(pageOf(many, 900, 100)[0]).toBe(9900);
    expect(pageCount(0, 100)).toBe(1);
    expect(pageOf([], 1, 100)).toEqual([]);
  });
});

it('a number in a table is not parted from its unit, and a short one not broken at all', () => {
  expect(shownText('+4.1 mm', true)).toBe('+4.1\u00a0mm');
  expect(shownText('13.2 (14)', true)).toBe('13.2\u00a0(14)');
  expect(shownText('+3.6 mm to +4.6 mm', true)).toBe('+3.6\u00a0mm to +4.6\u00a0mm');
  expect(shownText('up to 3 years or more', false)).toBe('up to 3\u00a0years or more');
});
