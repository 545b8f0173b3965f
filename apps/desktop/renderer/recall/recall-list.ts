import {
  formatCount,
  formatDate,
  formatNoun,
  formatNumber,
  formatOr,
  NO_VALUE,
  numberColumn,
  RECALL_WORDS,
  type Column,
} from '@longhold/ui';
import type { RecallList, RecallRow } from '../state/host';

type RecallState = RecallRow['state'];

/** Order of urgency, in which the list is sorted by state and the filters stand. */
export const STATES_BY_URGENCY: readonly RecallState[] = [
  'overdue',
  'due',
  'lost',
  'upcoming',
  'stopped',
  'complete',
];

/** The list in one sentence. */
export function recallSentence({ counts, rows }: Pick<RecallList, 'counts' | 'rows'>): string {
  if (rows.length === 0) return 'There are no treated patients to recall yet.';
  const due = counts.due ?? 0;
  const late = `${formatCount(counts.overdue ?? 0)} overdue`;
  const lost = `${formatCount(counts.lost ?? 0)} lost to follow-up`;
  return `${formatNoun(due, 'patient is', 'patients are')} due, ${late}, ${lost}.`;
}

/** Full months late, or a dash for rows that are not late. */
export function lateWords(months: number | null): string {
  if (months === null) return NO_VALUE;
  return months < 1 ? 'under a month' : formatNoun(Math.floor(months), 'month');
}

/** The window of a due date: `2026-03-01 to 2026-09-01`. */
export function windowWords(row: Pick<RecallRow, 'windowOpens' | 'windowCloses'>): string {
  return row.windowOpens === null || row.windowCloses === null
    ? ''
    : `${row.windowOpens} to ${row.windowCloses}`;
}

function dateColumn(key: string, label: string, date: (row: RecallRow) => string | null): Column<RecallRow> {
  return { key, label, text: (row) => formatDate(date(row)), order: date, unbroken: true };
}

export const RECALL_COLUMNS: readonly Column<RecallRow>[] = [
  {
    key: 'state',
    label: 'State',
    text: (row) => RECALL_WORDS[row.state],
    order: (row) => STATES_BY_URGENCY.indexOf(row.state),
  },
  { unbroken: true, key: 'code', label: 'Patient', text: (row) => row.code, heading: true },
  {
    unbroken: true,
    key: 'protocol',
    label: 'Protocol',
    text: (row) => row.protocol ?? NO_VALUE,
    order: (row) => row.protocol,
  },
  numberColumn('age', 'Age now', (row) => row.ageNow, formatNumber),
  dateColumn('activeEnd', 'Treatment ended', (row) => row.activeEnd),
  dateColumn('lastVisit', 'Last visit', (row) => row.lastVisit),
  dateColumn('dueDate', 'Due', (row) => row.dueDate),
  {
    key: 'late',
    label: 'Late by',
    text: (row) => lateWords(row.monthsLate),
    order: (row) => row.monthsLate,
    numeric: true,
  },
];

/** Columns of the exported file: what the screen shows, with the window and the reason in columns of their own. */
export const RECALL_EXPORT_COLUMNS: readonly Column<RecallRow>[] = [
  ...RECALL_COLUMNS,
  { key: 'dueYear', label: 'Due year', text: (row) => formatOr(row.dueYear, String) },
  { key: 'windowOpens', label: 'Window opens', text: (row) => row.windowOpens ?? '' },
  { key: 'windowCloses', label: 'Window closes', text: (row) => row.windowCloses ?? '' },
  { key: 'why', label: 'Why', text: (row) => row.why ?? '' },
];
