import { expect, it } from 'vitest';
import { dataToCsv, tableToCsv } from './csv';

it('a table is written as comma-separated text that quotes what needs quoting and runs no formula', () => {
  const columns = [
    { key: 'code', label: 'Code', text: (row: readonly string[]) => row[0] ?? '' },
    { key: 'why', label: 'Why, if known', text: (row: readonly string[]) => row[1] ?? '' },
  ];
  expect(
    tableToCsv(
      [
        ['P-1', 'said "no"'],
        ['=1+1', ''],
      ],
      columns,
    ),
  ).toBe('\ufeffCode,"Why, if known"\r\nP-1,"said ""no"""\r\n\'=1+1,\r\n');
});

it('data are written unrounded, negative numbers as numbers, and what is not known as an empty cell', () => {
  expect(
    dataToCsv([
      { year: 1, change: -1 / 3, group: '=A, B' },
      { year: 2, change: null, group: 'C' },
      { year: 3, change: Infinity, group: '-' },
    ]),
  ).toBe('\ufeffyear,change,group\r\n1,-0.3333333333333333,"\'=A, B"\r\n2,,C\r\n3,,\'-\r\n');
});
