import { z } from 'zod';
import { IMPORT_COLUMNS } from './columns';

/** The files an import may consist of, in the order in which their faults are listed. */
export const importFileSchema = z.enum([
  'patients.csv',
  'measurements.csv',
  'events.csv',
  'growth-table.csv',
]);
export type ImportFile = z.infer<typeof importFileSchema>;

/** The texts of the files; null for a file that is not part of this import. Growth tables may be left out. */
export const importTextsSchema = z.strictObject({
  patients: z.string().nullable(),
  measurements: z.string().nullable(),
  events: z.string().nullable(),
  growthTables: z.string().nullable().default(null),
});
export type ImportTexts = z.input<typeof importTextsSchema>;

/** Everything that can be wrong with import files: of the file, its header, a cell, or cells against each other. */
const faultKindSchema = z.enum([
  'nothing-given',
  'empty-file',
  'wrong-encoding',
  'wrong-separator',
  'broken-quotes',
  'unknown-column',
  'missing-column',
  'doubled-column',
  'wrong-cell-count',
  'line-break-in-cell',
  'missing-value',
  'must-be-empty',
  'unknown-word',
  'wrong-form',
  'decimal-comma',
  'not-a-number',
  'out-of-range',
  'unknown-measure',
  'unknown-patient',
  'doubled-patient',
  'doubled-measurement',
  'doubled-event',
  'doubled-table-row',
  'contradicting-table',
  'too-few-rows',
  'second-visit',
  'contradicting-factor',
  'wrong-visit-kind',
  'wrong-order',
  'age-unknown',
  'age-disagrees',
  'more-faults',
]);
export type FaultKind = z.infer<typeof faultKindSchema>;

/**
 * One thing that is wrong with an import and where. `row` is the line seen in a text editor or spreadsheet
 * (the header is row 1); null where the fault lies in no single row. `message` says what is wrong, `allowed`
 * what would be right; neither repeats the place.
 */
export const faultSchema = z.strictObject({
  kind: faultKindSchema,
  file: importFileSchema,
  row: z.int().min(1).nullable(),
  column: z.string().nullable(),
  value: z.string().nullable(),
  allowed: z.string(),
  message: z.string(),
});
export type Fault = z.infer<typeof faultSchema>;

const PLAIN_COUNT = new Intl.NumberFormat('en');

/** One fault as a sentence: place, offending value, what is wrong, what is allowed. */
export function faultText(fault: Fault): string {
  const place = [
    fault.file,
    fault.row === null ? null : `row ${fault.row}`,
    fault.column === null ? null : `column ${fault.column}`,
  ].filter((part) => part !== null);
  const value = fault.value === null ? '' : ` "${fault.value}":`;
  const allowed = fault.allowed === '' ? '' : ` Allowed: ${fault.allowed}.`;
  return `${place.join(', ')}:${value} ${fault.message}.${allowed}`;
}

/** How many faults are listed one by one; the rest are counted. */
export const LISTED_FAULTS = 1000;

const LONGEST_SHOWN_VALUE = 80;

/** A fault as the checks describe it; the value may still be of any length. */
export type FaultDetail = Omit<Fault, 'file'>;

/** Gathers faults while files are read. `make` is called only for faults that will be listed. */
export interface FaultCollector {
  readonly add: (file: ImportFile, make: () => FaultDetail) => void;
  readonly isEmpty: () => boolean;
  /** All listed faults by file, row and column, then one closing entry per file that had more. */
  readonly list: () => Fault[];
}

/** An empty collector of faults; it lists up to `limit` of them and counts the others by file. */
export function collectFaults(limit: number = LISTED_FAULTS): FaultCollector {
  const listed: Fault[] = [];
  const unlisted = new Map<ImportFile, number>();
  return {
    add: (file, make) => {
      if (listed.length < limit) {
        const detail = make();
        listed.push({ ...detail, file, value: shortened(detail.value) });
      } else unlisted.set(file, (unlisted.get(file) ?? 0) + 1);
    },
    isEmpty: () => listed.length === 0 && unlisted.size === 0,
    list: () => [...[...listed].sort(byPlace), ...closingEntries(unlisted)],
  };
}

function shortened(value: string | null): string | null {
  if (value === null || value.length <= LONGEST_SHOWN_VALUE) return value;
  return `${value.slice(0, LONGEST_SHOWN_VALUE - 1)}…`;
}

function byPlace(one: Fault, other: Fault): number {
  const files = importFileSchema.options;
  const columnAt = ({ file, column }: Fault): number =>
    IMPORT_COLUMNS[file].findIndex(({ name }) => name === column);
  return (
    files.indexOf(one.file) - files.indexOf(other.file) ||
    (one.row ?? 0) - (other.row ?? 0) ||
    columnAt(one) - columnAt(other)
  );
}

function closingEntries(unlisted: ReadonlyMap<ImportFile, number>): Fault[] {
  return importFileSchema.options.flatMap((file) => {
    const count = unlisted.get(file) ?? 0;
    if (count === 0) return [];
    const message = `${PLAIN_COUNT.format(count)} more faults in this file are not listed`;
    return [{ kind: 'more-faults', file, row: null, column: null, value: null, allowed: '', message }];
  });
}
