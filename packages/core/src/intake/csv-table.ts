import Papa from 'papaparse';
import { isEncodingDamaged } from './encoding';
import type { FaultCollector, ImportFile } from './faults';
import { readHeader } from './header';

/** One row of a file, with as many cells as the header has. `number` counts the header as row 1. */
export interface TableRow {
  readonly number: number;
  readonly cells: readonly string[];
}

/** An import file cut into cells, its header understood. */
export interface CsvTable {
  readonly file: ImportFile;
  /** Column name to its place in each row; only names that the file may have. */
  readonly places: ReadonlyMap<string, number>;
  /** False when broken quotes kept the end of the file from being cut into cells. */
  readonly complete: boolean;
  /** Whether some cell shows a wrong encoding. */
  readonly damaged: boolean;
  /** Calls `visit` for each row that is not blank and has the right number of cells; others become faults. */
  readonly forEachRow: (visit: (row: TableRow) => void) => void;
}

/**
 * Cuts the text of one file into cells and checks all that can be checked without knowing what they mean:
 * separators, quotes, header, number of cells. Returns null when there is nothing to read on.
 */
export function readCsvTable(file: ImportFile, text: string, faults: FaultCollector): CsvTable | null {
  const lines = text.replace(/^\uFEFF/, '').replace(/\r\n?/g, '\n');
  const headerLine = /^.*\S.*$/m.exec(lines)?.[0];
  if (headerLine === undefined) {
    const message = 'the file is empty';
    const allowed = 'a header row with the names of the columns, then the records';
    faults.add(file, () => ({ kind: 'empty-file', row: null, column: null, value: null, allowed, message }));
    return null;
  }
  const parsed = Papa.parse<string[]>(lines, { delimiter: separatorOf(headerLine), newline: '\n' });
  const brokenAt = reportBrokenQuotes(file, parsed.errors, parsed.data, faults);
  const records = parsed.data.slice(0, brokenAt);
  const headerAt = records.findIndex((cells) => !isBlank(cells));
  const header = records[headerAt];
  if (header === undefined) return null;
  const places = readHeader(file, header, headerAt + 1, faults);
  if (places === null) return null;
  return {
    file,
    places,
    complete: brokenAt === parsed.data.length,
    damaged: isEncodingDamaged(lines),
    forEachRow: (visit) => visitRows(file, records, headerAt, faults, visit),
  };
}

/** Column names hold neither separator, so the header line tells which one is used. */
function separatorOf(headerLine: string): ',' | ';' {
  const semicolons = headerLine.split(';').length;
  return semicolons > 1 && semicolons >= headerLine.split(',').length ? ';' : ',';
}

/** Returns the number of records before the first broken quote; from there on cells cannot be told apart. */
function reportBrokenQuotes(
  file: ImportFile,
  errors: readonly Papa.ParseError[],
  records: readonly string[][],
  faults: FaultCollector,
): number {
  const broken = errors.find((error) => error.type === 'Quotes');
  if (broken === undefined) return records.length;
  const at = broken.row ?? 0;
  const value = records[at]?.find((cell) => cell.includes('"') || cell.includes('\n')) ?? null;
  faults.add(file, () => ({
    kind: 'broken-quotes',
    row: at + 1,
    column: null,
    value,
    message: 'a quoted cell in this row is not closed, so the file cannot be read from here on',
    allowed: 'a quotation mark at both ends of a quoted cell, doubled where it is part of the text',
  }));
  return at;
}

function isBlank(cells: readonly string[]): boolean {
  return cells.every((cell) => cell.trim() === '');
}

function visitRows(
  file: ImportFile,
  records: readonly string[][],
  headerAt: number,
  faults: FaultCollector,
  visit: (row: TableRow) => void,
): void {
  const width = records[headerAt]?.length ?? 0;
  for (let index = headerAt + 1; index < records.length; index += 1) {
    const cells = records[index] ?? [];
    if (isBlank(cells)) continue;
    if (cells.length === width) visit({ number: index + 1, cells });
    else {
      faults.add(file, () => ({
        kind: 'wrong-cell-count',
        row: index + 1,
        column: null,
        value: null,
        message: `the row has ${cells.length} cells where the header has ${width}`,
        allowed: `${width} cells in every row`,
      }));
    }
  }
}
