import type { Column } from './columns';

/**
 * A table as comma-separated text (RFC 4180, with a byte order mark so that spreadsheets read it as UTF-8).
 * A cell that a spreadsheet would run as a formula gets an apostrophe in front.
 */
export function tableToCsv<Row>(rows: readonly Row[], columns: readonly Column<Row>[]): string {
  return writeCsv([
    columns.map((column) => column.label),
    ...rows.map((row) => columns.map((column) => column.text(row))),
  ]);
}

/** One row of data: numbers as they were computed, unrounded; null where there is none. */
export type DataRow = Readonly<Record<string, string | number | null>>;

/** Data as comma-separated text with the first row's names as its heading, for programs to read. */
export function dataToCsv(rows: readonly DataRow[]): string {
  const names = Object.keys(rows[0] ?? {});
  return writeCsv([names, ...rows.map((row) => names.map((name) => dataCell(row[name] ?? null)))]);
}

function dataCell(value: string | number | null): string | number {
  if (typeof value === 'number') return Number.isFinite(value) ? value : '';
  return value ?? '';
}

function writeCsv(lines: readonly (readonly (string | number)[])[]): string {
  return `\ufeff${lines.map((cells) => cells.map(writeCell).join(',')).join('\r\n')}\r\n`;
}

/* A negative number is a number; only words can be taken for a formula. */
function writeCell(cell: string | number): string {
  return typeof cell === 'number' ? String(cell) : quoteCell(cell);
}

function quoteCell(text: string): string {
  const harmless = /^[=+@\t\r-]/.test(text) ? `'${text}` : text;
  return /[",\r\n]/.test(harmless) ? `"${harmless.replaceAll('"', '""')}"` : harmless;
}
