import { expect, it } from 'vitest';
import { filterRows } from './filter-rows';

const rows = [
  { code: 'P-1', protocol: 'PLATES', state: 'due' },
  { code: 'P-2', protocol: null, state: 'lost' },
  { code: 'Q-3', protocol: 'blocks', state: 'due' },
];
const found = (only: string | null, text: string): string[] =>
  filterRows(rows, ({ state }) => state, only, text).map(({ code }) => code);

it('a list is searched by code and protocol within the chosen state', () => {
  expect(found('due', '')).toEqual(['P-1', 'Q-3']);
  expect(found(null, ' BLOCK ')).toEqual(['Q-3']);
  expect(found('lost', 'q')).toEqual([]);
  expect(found(null, '')).toHaveLength(3);
});
