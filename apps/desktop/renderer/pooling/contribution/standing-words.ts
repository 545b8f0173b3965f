import type { RecordCoarsening } from '@longhold/core/contribution';
import type { Column } from '@longhold/ui';
import { formatNoun, SEX_WORDS } from '@longhold/ui';
import type { PreviewedRecord, RecordStanding } from '../../state/host';

/** What becomes of a record with the next sending, as it is written. */
export const STANDING_WORDS: Readonly<Record<RecordStanding, string>> = {
  new: 'Leaves for the first time',
  changed: 'Leaves again, changed',
  'in-pool': 'In the pool as now',
  conflict: 'Waits for your choice',
};

export const STANDINGS: readonly RecordStanding[] = ['new', 'changed', 'in-pool', 'conflict'];

/** What was made less precise of one record, beyond what is done to all; empty for nothing. */
export function coarseningWords(
  { ageStepMonths, maturity, expansion, protocol, groupSize }: RecordCoarsening,
  usualAgeStep: number,
): string[] {
  return [
    ...(ageStepMonths > usualAgeStep ? [`age in bands of ${formatNoun(ageStepMonths, 'month')}`] : []),
    ...(maturity === 'group-only' ? ['maturity as a group'] : []),
    ...(maturity === 'removed' ? ['maturity taken out'] : []),
    ...(expansion === 'removed' ? ['widening taken out'] : []),
    ...(protocol === 'removed' ? ['protocol taken out'] : []),
    `${formatNoun(groupSize, 'patient')} alike`,
  ];
}

/** Columns of the list of records that leave. */
export function recordColumns(usualAgeStep: number): readonly Column<PreviewedRecord>[] {
  return [
    { key: 'code', label: 'Your code (stays here)', text: ({ code }) => code, heading: true },
    { key: 'standing', label: 'With the next sending', text: ({ standing }) => STANDING_WORDS[standing] },
    {
      key: 'who',
      label: 'Who',
      text: ({ record }) =>
        `${record.group === 'treated' ? 'Treated' : 'Untreated'}, ${SEX_WORDS[record.sex].toLowerCase()}, ${formatNoun(record.ageMonths, 'month')}`,
    },
    {
      key: 'holds',
      label: 'Holds',
      text: ({ record }) =>
        `${formatNoun(record.visits.length, 'visit')}, ${formatNoun(record.events.length, 'event')}`,
    },
    {
      key: 'coarsened',
      label: 'Made less precise',
      text: ({ coarsening }) => coarseningWords(coarsening, usualAgeStep).join(', '),
    },
  ];
}
