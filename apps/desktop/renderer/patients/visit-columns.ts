import { VERDICT_WORDS, type VisitOutcome } from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import {
  formatChange,
  formatNumber,
  formatQuantity,
  formatShare,
  NO_VALUE,
  numberColumn,
  VISIT_WORDS,
  type Column,
} from '@longhold/ui';

/** Columns of one patient's visits; the table adds limits and reasons under the numbers. */
export function visitColumns({ unit }: MeasureDefinition): readonly Column<VisitOutcome>[] {
  const asValue = (value: number): string => formatQuantity(value, unit);
  return [
    { key: 'visit', label: 'Visit', text: ({ kind }) => VISIT_WORDS[kind], heading: true },
    numberColumn('age', 'Age', ({ age }) => age, formatNumber),
    numberColumn('years', 'Years since end', ({ years }) => years, formatNumber),
    numberColumn('value', 'Value', ({ value }) => value, asValue),
    numberColumn('expected', 'Expected untreated', ({ expected }) => expected?.value ?? null, asValue),
    numberColumn(
      'gain',
      'Adjusted gain',
      ({ gain }) => gain?.estimate ?? null,
      (gain) => formatChange(gain, unit),
    ),
    numberColumn('share', 'Retained share', (visit) => laterShare(visit)?.estimate ?? null, formatShare),
    {
      key: 'status',
      label: 'Status and why',
      text: ({ status }) => (status === null ? NO_VALUE : VERDICT_WORDS[status.verdict]),
    },
  ];
}

/** The retained share of a follow-up visit; at the end of active treatment it is 100 % by definition, so not shown. */
export function laterShare({ kind, share }: VisitOutcome): VisitOutcome['share'] {
  return kind === 'follow_up' ? share : null;
}
