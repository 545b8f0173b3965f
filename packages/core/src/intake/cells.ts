import { misread, type CellReading, type Column } from './column';
import type { CsvTable, TableRow } from './csv-table';
import { encodingFault, isEncodingDamaged } from './encoding';
import type { FaultCollector } from './faults';

/**
 * Understands one column's cell in a row. Undefined when the cell is faulty or its column is missing: that
 * fault is then already reported.
 */
export type CellReader<T> = (row: TableRow) => T | undefined;

/**
 * A reader for the cells of one column of one table. Texts recur from row to row (codes, words, dates), so
 * each different text is understood only once.
 */
export function cellReader<T>(table: CsvTable, column: Column<T>, faults: FaultCollector): CellReader<T> {
  const place = table.places.get(column.name);
  if (place === undefined)
    return () => (column.presence === 'required' ? undefined : column.whenEmpty?.value);
  const understood = new Map<string, CellReading<T>>();
  return (row) => {
    const cell = row.cells[place] ?? '';
    if (table.damaged && isEncodingDamaged(cell)) {
      faults.add(table.file, () => encodingFault(row.number, column.name, cell));
      return undefined;
    }
    let reading = understood.get(cell);
    if (reading === undefined) {
      reading = understand(cell, column);
      understood.set(cell, reading);
    }
    if (reading.ok) return reading.value;
    const { kind, explain } = reading;
    faults.add(table.file, () => {
      const { message, allowed = column.allowed } = explain();
      const value = cell.trim() === '' ? null : cell.trim();
      return { kind, row: row.number, column: column.name, value, message, allowed };
    });
    return undefined;
  };
}

function understand<T>(cell: string, column: Column<T>): CellReading<T> {
  if (cell.includes('\n')) {
    return misread('line-break-in-cell', 'this cell runs over more than one line', 'a cell on one line');
  }
  const text = cell.trim();
  if (text !== '') return column.read(text);
  if (column.whenEmpty !== null) return { ok: true, value: column.whenEmpty.value };
  return misread('missing-value', 'this cell is empty');
}
