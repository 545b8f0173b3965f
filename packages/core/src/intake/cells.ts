import type { CellReading, Column } from './column';
import type { CsvTable, TableRow } from './csv-table';
import { encodingFault, isEncodingDamaged } from './encoding';
import type { FaultCollector, FaultDetail } from './faults';

/**
 * Reads the cell of a column in a row. Returns undefined when the cell is faulty or its column is missing:
 * the fault is then already reported.
 */
export type CellReader = <T>(row: TableRow, column: Column<T>) => T | undefined;

/**
 * A reader for the cells of one table. Texts recur from row to row (codes, words, dates), so each different
 * text of a column is understood only once.
 */
export function cellReader(table: CsvTable, faults: FaultCollector): CellReader {
  const remember = rememberReadings();
  return (row, column) => {
    const place = table.places.get(column.name);
    if (place === undefined) return column.presence === 'either' ? column.whenEmpty?.value : undefined;
    const cell = row.cells[place] ?? '';
    const text = cell.trim();
    if (table.damaged && isEncodingDamaged(text)) {
      faults.add(table.file, () => encodingFault(row.number, column.name, text));
      return undefined;
    }
    if (text === '' && column.whenEmpty !== null) return column.whenEmpty.value;
    const reading = remember(column, text);
    if (reading.ok && !cell.includes('\n')) return reading.value;
    faults.add(table.file, () => cellFault(row.number, column, cell, reading));
    return undefined;
  };
}

function rememberReadings(): <T>(column: Column<T>, text: string) => CellReading<T> {
  const known = new Map<Column<unknown>, Map<string, CellReading<unknown>>>();
}

function cellFault(row: number, column: Column<unknown>, cell: string, reading: CellReading<unknown>): FaultDetail {
  const place = { row, column: column.name };
  if (cell.includes('\n')) {
    const message = 'this cell runs over more than one line';
    return { kind: 'line-break-in-cell', ...place, value: cell, message, allowed: 'cells of one line' };
  }
  if (cell.trim() === '') {
    return { kind: 'missing-value', ...place, value: null, message: 'this cell is empty', allowed: column.allowed };
  }
}
