import type { Column } from './columns';

/**
 * A table as comma-separated text (RFC 4180, with a byte order mark so that spreadsheets read it as UTF-8).
 * A cell that a spreadsheet would run as a formula gets an apostrophe in front.
 */
export function tableToCsv<Row>(rows: readonly Row[], columns: readonly Column<Row>[]): string {
  const lines = [
    columns.map((column) => column.label),
    ...rows.map((row) => columns.map((column) => column.text(row))),
  ];
  return `\ufeff${lines.map((cells) => cells.map(quoteCell).join(',')).join('\r\n')}\r\n`;
}

function quoteCell(text: string): string {
  const harmless = /^[=+@\t\r-]/.test(text) ? `'${text}` : text;
  return /[",\r\n]/.test(harmless) ? `"${harmless.replaceAll('"', '""')}"` : harmless;
}
