import { expect, it } from 'vitest';
import { tableToCsv } from './csv';

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
