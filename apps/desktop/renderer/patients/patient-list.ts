import { LEFT_OUT_WORDS, STATUS_REASON_WORDS, VERDICT_ORDER, VERDICT_WORDS } from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import type { Verdict } from '@longhold/core/retention';
import {
  formatChange,
  formatNumber,
  formatShare,
  NO_VALUE,
  numberColumn,
  SEX_WORDS,
  expansionWord,
  type Column,
} from '@longhold/ui';
import type { PatientRow } from '../state/host';

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
    numberColumn(
      'gain',
      'Gain of treatment',
      ({ gain }) => gain,
      (gain) => formatChange(gain, measure.unit),
    ),
    numberColumn('share', 'Retained share', ({ share }) => share, formatShare),
    numberColumn('lastYears', 'Years followed', ({ lastYears }) => lastYears, formatNumber),
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
