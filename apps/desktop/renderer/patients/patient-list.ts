import { LEFT_OUT_WORDS, STATUS_REASON_WORDS, VERDICT_WORDS } from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import type { Verdict } from '@longhold/core/retention';
import {
  formatChange,
  formatNumber,
  formatOr,
  formatShare,
  NO_VALUE,
  SEX_WORDS,
  expansionWord,
  type Column,
} from '@longhold/ui';
import type { PatientRow } from '../state/host';

/** The order in which verdicts are listed and sorted: decided ones first. */
export const VERDICT_ORDER: readonly Verdict[] = [
  'held',
  'lost',
  'cannot-tell',
  'not-measurable',
  'no-follow-up',
  'treated-again',
];

/** Rows with one verdict (all when null) whose code or protocol holds the text. */
export function filterPatients(
  rows: readonly PatientRow[],
  verdict: string | null,
  text: string,
): readonly PatientRow[] {
  const wanted = text.trim().toLowerCase();
  return rows.filter(
    (row) =>
      (verdict === null || row.verdict === verdict) &&
      (wanted === '' || `${row.code} ${row.protocol ?? ''}`.toLowerCase().includes(wanted)),
  );
}

/** How many rows have each verdict. */
export function countVerdicts(rows: readonly PatientRow[]): ReadonlyMap<Verdict, number> {
  const counts = new Map<Verdict, number>();
  for (const { verdict } of rows) counts.set(verdict, (counts.get(verdict) ?? 0) + 1);
  return counts;
}

/** Why a row has its verdict, or why it is not in the answer; empty where the verdict says it all. */
export function whyWords(row: Pick<PatientRow, 'reason' | 'leftOut'>): string {
  if (row.reason !== null) return STATUS_REASON_WORDS[row.reason];
  return row.leftOut === null || row.leftOut === 'no-follow-up'
    ? ''
    : LEFT_OUT_WORDS[row.leftOut].toLowerCase();
}

/** Columns of the list; gains are in the measure's unit. */
export function patientColumns(measure: MeasureDefinition): readonly Column<PatientRow>[] {
  return [
    { unbroken: true, key: 'code', label: 'Patient', text: (row) => row.code, heading: true },
    {
      key: 'verdict',
      label: 'Status',
      text: (row) => VERDICT_WORDS[row.verdict],
      order: (row) => VERDICT_ORDER.indexOf(row.verdict),
    },
    {
      key: 'gain',
      label: 'Gain of treatment',
      text: (row) => formatOr(row.gain, (gain) => formatChange(gain, measure.unit)),
      order: (row) => row.gain,
      numeric: true,
    },
    {
      key: 'share',
      label: 'Retained share',
      text: (row) => formatOr(row.share, formatShare),
      order: (row) => row.share,
      numeric: true,
    },
    {
      key: 'lastYears',
      label: 'Years followed',
      text: (row) => formatOr(row.lastYears, (years) => formatNumber(years)),
      order: (row) => row.lastYears,
      numeric: true,
    },
    {
      key: 'protocol',
      unbroken: true,
      label: 'Protocol',
      text: (row) => row.protocol ?? NO_VALUE,
      order: (row) => row.protocol,
    },
    { key: 'sex', label: 'Sex', text: (row) => SEX_WORDS[row.sex] },
    { key: 'expansion', label: 'Jaw widened', text: (row) => expansionWord(row.expansion) },
  ];
}
