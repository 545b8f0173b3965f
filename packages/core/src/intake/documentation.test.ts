import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { MEASURES } from '../measures/catalogue';
import { IMPORT_COLUMNS } from './columns';
import { faultsOf, studyOf } from './example.fixture';
import { faultText, importFileSchema, type ImportTexts } from './faults';

const page = readFileSync(new URL('../../../../docs/import.md', import.meta.url), 'utf8');

/** The cells of the tables under a heading, by the code in the first cell. */
function tableRows(heading: string): Map<string, string[]> {
  const [, after = ''] = page.split(`\n${heading}\n`);
  const section = after.split(/\n##+ /)[0] ?? '';
  const rows = section.split('\n').filter((line) => line.startsWith('| `'));
  const cells = rows.map((line) =>
    line
      .split('|')
      .slice(1, -1)
      .map((cell) => cell.trim()),
  );
  return new Map(cells.map(([name = '', ...others]) => [name.replaceAll('`', ''), others]));
}

function blocks(info: string): string[] {
  return [...page.matchAll(/```([^\n]*)\n([\s\S]*?)```/g)]
    .filter(([, found]) => found === info)
    .map(([, , body = '']) => body);
}

describe('docs/import.md', () => {
  it.each(importFileSchema.options)(
    'lists every column of %s with what is allowed and what it means',
    (file) => {
      const rows = tableRows(`## ${file}`);
      expect([...rows.keys()]).toEqual(IMPORT_COLUMNS[file].map((column) => column.name));
      for (const column of IMPORT_COLUMNS[file]) {
        const [allowed = '', meaning] = rows.get(column.name) ?? [];
        expect(meaning).toBe(column.meaning);
        if (column.name === 'measure') expect(allowed).toContain('#measures');
        else if (column.words.length === 0) expect(allowed).toBe(column.allowed);
        else {
          const words = column.words.map((word) => `\`${word}\``).join(', ');
          expect(allowed).toBe(column.whenEmpty === null ? words : `${words}, or empty`);
        }
      }
    },
  );

  it('lists every measure with its unit and plausible range', () => {
    const rows = tableRows('### Measures');
    expect([...rows]).toEqual(
      MEASURES.map(({ code, name, unit, plausible: [low, high] }) => [
        code,
        [name, unit === 'deg' ? 'degrees' : 'mm', `${low} to ${high}`],
      ]),
    );
  });

  it('has examples that can be imported', () => {
    const [patients = '', agesOnly = ''] = blocks('csv patients');
    const [measurements = '', agesOnlyMeasurements = ''] = blocks('csv measurements');
    const [events = ''] = blocks('csv events');
    expect(studyOf({ patients, measurements, events })).toHaveLength(3);
    const series: ImportTexts = { patients: agesOnly, measurements: agesOnlyMeasurements, events: null };
    expect(studyOf(series)).toHaveLength(2);
    const [growthTables = ''] = blocks('csv growth-table');
    expect(faultsOf({ growthTables })).toEqual([]);
    expect(growthTables.split('\n')).toHaveLength(5);
  });

  it('shows the faults of its faulty example as Longhold words them', () => {
    const [patients = ''] = blocks('csv patients');
    const [measurements = ''] = blocks('csv measurements faulty');
    const sentences = faultsOf({ patients, measurements, events: null }).map(faultText);
    expect(blocks('text faults')).toEqual([`${sentences.join('\n')}\n`]);
  });
});
