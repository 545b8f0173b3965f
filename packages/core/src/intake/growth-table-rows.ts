import { tableRowKey, type ImportedTable, type ImportedTableRow } from '../growth/imported-table';
import type { MeasureDefinition } from '../measures/definition';
import { sexSchema } from '../records/vocabulary';
import { allRead } from './all-read';
import { cellReader } from './cells';
import type { Column } from './column';
import { GROWTH_TABLE_COLUMNS } from './columns';
import type { CsvTable, TableRow } from './csv-table';
import type { FaultCollector, FaultDetail } from './faults';
import { implausible, isPlausible } from './measurement-rows';

/** What all rows of a table must say alike. */
type TableFacts = Pick<ImportedTable, 'name' | 'source' | 'filmFactor' | 'ownRateSd'>;

interface ReadRow {
  readonly measure: MeasureDefinition;
  readonly facts: TableFacts;
  readonly row: ImportedTableRow;
}

interface TableDraft {
  readonly measure: MeasureDefinition;
  readonly facts: TableFacts;
  /** Row of the file at which the table begins. */
  readonly firstRow: number;
  readonly rows: Map<string, { readonly at: number; readonly row: ImportedTableRow }>;
}

type Report = (detail: () => FaultDetail) => void;

/**
 * Reads the rows of growth-table.csv into the tables they make, in the order of their first rows. A row that is there
 * twice, and rows of one table that contradict each other, name both rows.
 */
export function readGrowthTableRows(table: CsvTable, faults: FaultCollector): ImportedTable[] {
  const report: Report = (detail) => faults.add(table.file, detail);
  const readRow = rowReader(table, faults, report);
  const drafts = new Map<string, TableDraft>();
  let allRowsRead = true;
  table.forEachRow((row) => {
    const read = readRow(row);
    if (read === undefined) {
      allRowsRead = false;
      return;
    }
    const key = growthTableKey({ name: read.facts.name, measure: read.measure.code });
    const draft = drafts.get(key) ?? beginTable(read, row.number);
    drafts.set(key, draft);
    addRow(draft, read, row.number, report);
  });
  return [...drafts.values()].map((draft) => {
    // A row at fault is missing from its table here, and is named already.
    if (allRowsRead) reportTooFew(draft, report);
    return {
      ...draft.facts,
      measure: draft.measure.code,
      rows: [...draft.rows.values()].map(({ row }) => row).sort(inTableOrder),
    };
  });
}

/** What makes two tables the same table. */
export function growthTableKey({ name, measure }: Pick<ImportedTable, 'name' | 'measure'>): string {
  return `${name}|${measure}`;
}

/** Girls first, then by age; stages in their order. */
export function inTableOrder(one: ImportedTableRow, other: ImportedTableRow): number {
  const sexes = sexSchema.options;
  return (
    sexes.indexOf(one.sex) - sexes.indexOf(other.sex) ||
    (one.ageYears ?? 0) - (other.ageYears ?? 0) ||
    (one.stage ?? '').localeCompare(other.stage ?? '', 'en')
  );
}

function beginTable({ measure, facts }: ReadRow, firstRow: number): TableDraft {
  return { measure, facts, firstRow, rows: new Map() };
}

function rowReader(
  table: CsvTable,
  faults: FaultCollector,
  report: Report,
): (row: TableRow) => ReadRow | undefined {
  const column = <T>(definition: Column<T>) => cellReader(table, definition, faults);
  const columns = GROWTH_TABLE_COLUMNS;
  const readName = column(columns.table);
  const readSource = column(columns.source);
  const readOwnRateSd = column(columns.ownRateSd);
  const readMeasure = column(columns.measure);
  const readFactor = column(columns.filmFactor);
  const readSex = column(columns.sex);
  const readAge = column(columns.ageYears);
  const readStage = column(columns.stage);
  const readMean = column(columns.mean);
  const readSd = column(columns.sd);
  const readN = column(columns.n);
  return (row) => {
    const facts = allRead({ name: readName(row), source: readSource(row), ownRateSd: readOwnRateSd(row) });
    const cells = allRead({ measure: readMeasure(row), filmFactor: readFactor(row) });
    const read = allRead({
      sex: readSex(row),
      ageYears: readAge(row),
      stage: readStage(row),
      mean: readMean(row),
      sd: readSd(row),
      n: readN(row),
    });
    if (facts === undefined || cells === undefined || read === undefined) return undefined;
    const { measure } = cells;
    const filmFactor = factorOf(cells, row.number, report);
    const placed = hasOnePlace(read, row.number, report);
    if (!isPlausible(read.mean, measure)) {
      report(() => implausible(row.number, columns.mean.name, read.mean, measure));
      return undefined;
    }
    if (filmFactor === undefined || !placed) return undefined;
    return { measure, facts: { ...facts, filmFactor }, row: read };
  };
}

/** The factor of a row; undefined, and a fault, where a length has none or something else has one that is not 1. */
function factorOf(
  { measure, filmFactor }: { readonly measure: MeasureDefinition; readonly filmFactor: number | null },
  row: number,
  report: Report,
): number | undefined {
  const { name, allowed } = GROWTH_TABLE_COLUMNS.filmFactor;
  if (measure.enlarged && filmFactor === null) {
    report(() => ({
      kind: 'missing-value',
      row,
      column: name,
      value: null,
      message: `${measure.code} is a length on films, so its table needs a factor`,
      allowed: allowed.replace(', or empty', '; 1 where means are at natural size'),
    }));
    return undefined;
  }
  if (!measure.enlarged && filmFactor !== null && filmFactor !== 1) {
    report(() => ({
      kind: 'must-be-empty',
      row,
      column: name,
      value: String(filmFactor),
      message: `films do not enlarge ${measure.code}`,
      allowed: 'empty, or 1',
    }));
    return undefined;
  }
  return filmFactor ?? 1;
}

/** Whether a row has an age or a stage, not both and not neither. */
function hasOnePlace(
  { ageYears, stage }: Pick<ImportedTableRow, 'ageYears' | 'stage'>,
  row: number,
  report: Report,
): boolean {
  if ((ageYears === null) !== (stage === null)) return true;
  const { ageYears: age, stage: stageColumn } = GROWTH_TABLE_COLUMNS;
  const both = ageYears !== null;
  report(() => ({
    kind: both ? 'must-be-empty' : 'missing-value',
    row,
    column: both ? stageColumn.name : age.name,
    value: stage,
    message: both ? 'the row has an age and a stage' : 'the row has neither an age nor a stage',
    allowed: `a value in ${age.name} or in ${stageColumn.name}, not in both`,
  }));
  return false;
}

function addRow(draft: TableDraft, read: ReadRow, at: number, report: Report): void {
  if (contradicts(draft, read, at, report)) return;
  const key = tableRowKey(read.row);
  const known = draft.rows.get(key);
  if (known === undefined) {
    draft.rows.set(key, { at, row: read.row });
    return;
  }
  report(() => ({
    kind: 'doubled-table-row',
    row: at,
    column: GROWTH_TABLE_COLUMNS.mean.name,
    value: String(read.row.mean),
    message: `table ${draft.facts.name} has this sex and ${read.row.stage === null ? 'age' : 'stage'} in row ${known.at} already`,
    allowed: 'each sex and age, or stage, once in a table',
  }));
}

/** Reports the first thing that a row says otherwise than the rows of its table before it. */
function contradicts(draft: TableDraft, { facts, row }: ReadRow, at: number, report: Report): boolean {
  const columns = GROWTH_TABLE_COLUMNS;
  const first = [...draft.rows.values()][0]?.row;
  const mixed = first !== undefined && (first.stage === null) !== (row.stage === null);
  const differing = (
    [
      [columns.source, draft.facts.source, facts.source],
      [columns.filmFactor, draft.facts.filmFactor, facts.filmFactor],
      [columns.ownRateSd, draft.facts.ownRateSd, facts.ownRateSd],
    ] as const
  ).find(([, before, here]) => before !== here);
  if (!mixed && differing === undefined) return false;
  report(() => {
    const [column, before, here] = differing ?? [columns.stage, first?.stage ?? null, row.stage];
    return {
      kind: 'contradicting-table',
      row: at,
      column: column.name,
      value: here === null ? null : String(here),
      message: mixed
        ? `table ${draft.facts.name} has ages and stages`
        : `table ${draft.facts.name} begins in row ${draft.firstRow} with ${column.name} ${before ?? 'empty'}`,
      allowed: mixed
        ? 'ages in all rows of a table, or stages'
        : `one ${column.name} for all rows of a table`,
    };
  });
  return true;
}

/** A line needs two points. */
function reportTooFew(draft: TableDraft, report: Report): void {
  const enough = sexSchema.options.some(
    (sex) => [...draft.rows.values()].filter(({ row }) => row.sex === sex).length >= 2,
  );
  if (enough || draft.rows.size === 0) return;
  report(() => ({
    kind: 'too-few-rows',
    row: draft.firstRow,
    column: GROWTH_TABLE_COLUMNS.table.name,
    value: draft.facts.name,
    message: 'no sex has two rows in this table, so it says nothing of growth',
    allowed: 'two ages, or stages, of a sex at least',
  }));
}
