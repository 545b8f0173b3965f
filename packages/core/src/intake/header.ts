import { suggestion } from './column';
import { IMPORT_COLUMNS } from './columns';
import { encodingFault, isEncodingDamaged } from './encoding';
import type { FaultCollector, FaultDetail, ImportFile } from './faults';

/**
 * Reads the header row: which column stands where. Unknown, doubled and missing columns become faults; the
 * known ones are still returned, so that their cells can be checked in the same run. Returns null when the
 * row is unreadable or was not cut at its separators.
 */
export function readHeader(
  file: ImportFile,
  header: readonly string[],
  row: number,
  faults: FaultCollector,
): ReadonlyMap<string, number> | null {
  const names = IMPORT_COLUMNS[file].map((column) => column.name);
  const places = new Map<string, number>();
  const [only = ''] = header;
  if (header.length === 1 && /[\t|:]/.test(only)) {
    faults.add(file, () => wrongSeparator(row, only));
    return null;
  }
  const damaged = header.find(isEncodingDamaged);
  if (damaged !== undefined) {
    // Column names are plain letters: a header that is damaged comes from a two-byte encoding, as do all rows.
    faults.add(file, () => encodingFault(row, null, damaged));
    return null;
  }
  header.forEach((cell, index) => {
    const name = cell.trim();
    if (!names.includes(name)) faults.add(file, () => unknownColumn(row, name, index, names));
    else if (places.has(name)) faults.add(file, () => doubledColumn(row, name));
    else places.set(name, index);
  });
  reportMissing(file, row, places, faults);
  return places;
}

function wrongSeparator(row: number, value: string): FaultDetail {
  const message = 'the header is not separated by commas or semicolons';
  return {
    kind: 'wrong-separator',
    row,
    column: null,
    value,
    message,
    allowed: 'commas or semicolons between cells',
  };
}

function unknownColumn(row: number, name: string, index: number, names: readonly string[]): FaultDetail {
  const allowed = names.join(', ');
  if (name === '') {
    const message = `column number ${index + 1} has no name`;
    return { kind: 'unknown-column', row, column: null, value: null, message, allowed };
  }
  const message = `this file has no such column${suggestion(name, names)}`;
  return { kind: 'unknown-column', row, column: name, value: name, message, allowed };
}

function doubledColumn(row: number, name: string): FaultDetail {
  const message = 'this column is there twice';
  return { kind: 'doubled-column', row, column: name, value: name, message, allowed: 'each column once' };
}

function reportMissing(
  file: ImportFile,
  row: number,
  places: ReadonlyMap<string, number>,
  faults: FaultCollector,
): void {
  const missing = IMPORT_COLUMNS[file].filter((column) => !places.has(column.name));
  const report = (column: string, message: string, allowed: string): void =>
    faults.add(file, () => ({ kind: 'missing-column', row, column, value: null, message, allowed }));
  for (const column of missing) {
    if (column.presence !== 'required') continue;
    report(column.name, 'this column is missing', `a column ${column.name}: ${column.allowed}`);
  }
  const alternatives = IMPORT_COLUMNS[file].filter((column) => column.presence === 'either');
  if (alternatives.length > 0 && alternatives.every((column) => missing.includes(column))) {
    const names = alternatives.map((column) => column.name).join(' or ');
    report(alternatives[0]?.name ?? '', `the file has no column ${names}`, `a column ${names}, or both`);
  }
}
