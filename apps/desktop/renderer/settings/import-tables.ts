import { countColumn, NO_VALUE, numberColumn, type Column } from '@longhold/ui';
import type { ImportFault, ImportResult } from '../state/host';

type Changes = NonNullable<ImportResult['changes']>;

/** Faults as a table: where, what stands there, what is wrong, what is allowed. */
export const faultColumns: readonly Column<ImportFault>[] = [
  { key: 'file', label: 'File', text: ({ file }) => file },
  numberColumn('row', 'Row', ({ row }) => row, String),
  { key: 'column', label: 'Column', text: ({ column }) => column ?? NO_VALUE },
  { key: 'value', label: 'Value', text: ({ value }) => value ?? NO_VALUE },
  { key: 'message', label: 'What is wrong', text: ({ message }) => message },
  { key: 'allowed', label: 'Allowed', text: ({ allowed }) => allowed },
];

/** One kind of record with what an import adds, changes and finds unchanged. */
export interface ChangeRow {
  readonly part: string;
  readonly added: number;
  readonly changed: number;
  readonly unchanged: number;
}

const PART_WORDS = {
  patients: 'Patients',
  visits: 'Visits',
  measurements: 'Measurements',
  events: 'Events',
  growthTables: 'Growth tables',
} as const;

/** The counts of an import as rows of a table. */
export function changeRows(changes: Changes): readonly ChangeRow[] {
  return (['patients', 'visits', 'measurements', 'events', 'growthTables'] as const).map((part) => ({
    part: PART_WORDS[part],
    ...changes[part],
  }));
}

export const changeColumns: readonly Column<ChangeRow>[] = [
  { key: 'part', label: 'Records', text: ({ part }) => part, heading: true },
  countColumn('added', 'Added', ({ added }) => added),
  countColumn('changed', 'Changed', ({ changed }) => changed),
  countColumn('unchanged', 'Unchanged', ({ unchanged }) => unchanged),
];
