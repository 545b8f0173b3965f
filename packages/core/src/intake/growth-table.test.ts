import { describe, expect, it } from 'vitest';
import { faultsOf, text } from './example.fixture';
import { mergeGrowthTables } from './merge-growth-tables';
import { readImport } from './read-import';

const HEADER = 'table,measure,sex,age_years,maturity_stage,mean,sd,n,film_factor,own_rate_sd,source';
/** An invented table of two measures, one by age and one by stage. */
const ROWS = [
  'Oak,Co-Gn,male,12,,120.5,5.1,40,0.912,0.5,invented series',
  'Oak,Co-Gn,male,10,,114,5,38,0.912,0.5,invented series',
  'Oak,Co-Gn,female,10,,112,,,0.912,0.5,invented series',
  'Oak,SNB,female,,CS1,76,,,,,invented series',
  'Oak,SNB,female,,CS3,77.5,3,20,1,,invented series',
];

function placesOf(rows: readonly string[], header = HEADER): string[] {
  return faultsOf({ growthTables: text([header, ...rows]) }).map(
    ({ kind, row, column, value }) => `${kind} ${row ?? '-'}:${column ?? '-'}=${value ?? '-'}`,
  );
}

/** The rows with one cell of row 2 replaced. */
function withCell(column: string, value: string): string[] {
  const cells = (ROWS[0] ?? '').split(',');
  cells[HEADER.split(',').indexOf(column)] = value;
  return [cells.join(','), ...ROWS.slice(1)];
}

function tablesOf(rows: readonly string[]) {
  const reading = readImport({
    patients: null,
    measurements: null,
    events: null,
    growthTables: text([HEADER, ...rows]),
  });
  if (!reading.ok) throw new Error(JSON.stringify(reading.faults));
  return reading.tables;
}

describe('growth-table.csv', () => {
  it('holds tables known by name and measure, their rows in order of sex and age or stage', () => {
    expect(tablesOf(ROWS)).toEqual([
      {
        name: 'Oak',
        measure: 'Co-Gn',
        source: 'invented series',
        filmFactor: 0.912,
        ownRateSd: 0.5,
        rows: [
          { sex: 'female', ageYears: 10, stage: null, mean: 112, sd: null, n: null },
          { sex: 'male', ageYears: 10, stage: null, mean: 114, sd: 5, n: 38 },
          { sex: 'male', ageYears: 12, stage: null, mean: 120.5, sd: 5.1, n: 40 },
        ],
      },
      {
        name: 'Oak',
        measure: 'SNB',
        source: 'invented series',
        filmFactor: 1,
        ownRateSd: null,
        rows: [
          { sex: 'female', ageYears: null, stage: 'CS1', mean: 76, sd: null, n: null },
          { sex: 'female', ageYears: null, stage: 'CS3', mean: 77.5, sd: 3, n: 20 },
        ],
      },
    ]);
  });

  it('may lack the columns of what is not known', () => {
    const header = 'table,measure,sex,age_years,mean,film_factor,source';
    const rows = ['Elm,Co-Gn,male,10,114,1,invented', 'Elm,Co-Gn,male,12,120,1,invented'];
    expect(placesOf(rows, header)).toEqual([]);
  });

  it.each([
    ['table', '', 'missing-value 2:table=-'],
    ['measure', 'CoGn', 'unknown-measure 2:measure=CoGn'],
    ['sex', 'boys', 'unknown-word 2:sex=boys'],
    ['age_years', '', 'missing-value 2:age_years=-'],
    ['maturity_stage', 'CS3', 'must-be-empty 2:maturity_stage=CS3'],
    ['mean', '1205', 'out-of-range 2:mean=1205'],
    ['sd', '0', 'out-of-range 2:sd=0'],
    ['n', '38.5', 'not-a-number 2:n=38.5'],
    ['film_factor', '', 'missing-value 2:film_factor=-'],
    ['film_factor', '8', 'out-of-range 2:film_factor=8'],
    ['source', '=A1', 'wrong-form 2:source==A1'],
  ])('names the fault where %s is "%s"', (column, value, place) => {
    expect(placesOf(withCell(column, value))).toContain(place);
  });

  it('refuses a factor for what films do not enlarge', () => {
    const rows = ROWS.map((row) => row.replace('CS1,76,,,,', 'CS1,76,,,0.9,'));
    expect(placesOf(rows)).toEqual(['must-be-empty 5:film_factor=0.9']);
  });

  it('names both rows where one is there twice or contradicts the table it belongs to', () => {
    expect(placesOf([...ROWS, 'Oak,Co-Gn,male,10,,115,5,38,0.912,0.5,invented series'])).toEqual([
      'doubled-table-row 7:mean=115',
    ]);
    expect(placesOf([...ROWS, 'Oak,Co-Gn,male,14,,125,5,38,1,0.5,invented series'])).toEqual([
      'contradicting-table 7:film_factor=1',
    ]);
    expect(placesOf([...ROWS, 'Oak,Co-Gn,male,,CS4,125,5,38,0.912,0.5,invented series'])).toEqual([
      'contradicting-table 7:maturity_stage=CS4',
    ]);
  });

  it('needs two rows of a sex, since one says nothing of growth', () => {
    expect(placesOf(ROWS.slice(0, 1))).toEqual(['too-few-rows 2:table=Oak']);
  });
});

describe('growth tables laid over those of a store', () => {
  it('are added, replaced whole where name and measure are the same, or found unchanged', () => {
    const stored = tablesOf(ROWS);
    const changed = ROWS.slice(0, 2).map((row) => row.replace('120.5', '121'));
    const added = ['Elm,Co-Gn,male,10,,114,,,1,,invented', 'Elm,Co-Gn,male,12,,120,,,1,,invented'];
    const { tally, touched } = mergeGrowthTables(stored, tablesOf([...changed, ...ROWS.slice(3), ...added]));
    expect(tally).toEqual({ added: 1, changed: 1, unchanged: 1 });
    expect(
      touched.map(({ before, after }) => [after.name, before?.rows.length ?? null, after.rows.length]),
    ).toEqual([
      ['Oak', 3, 2],
      ['Elm', null, 2],
    ]);
  });
});
