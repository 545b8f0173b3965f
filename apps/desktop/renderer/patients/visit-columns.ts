import { VERDICT_WORDS, type VisitOutcome } from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import {
  formatChange,
  formatNumber,
  formatOr,
  formatQuantity,
  formatShare,
  NO_VALUE,
  VISIT_WORDS,
  type Column,
} from '@longhold/ui';

/** Columns of one patient's visits; the table adds limits and reasons under the numbers. */
export function visitColumns({ unit }: MeasureDefinition): readonly Column<VisitOutcome>[] {
  return [
    {
      key: 'visit',
      label: 'Visit',
      text: ({ kind }) => VISIT_WORDS[kind],
      order: ({ age }) => age,
      heading: true,
    },
    {
      key: 'age',
      label: 'Age',
      text: ({ age }) => formatNumber(age),
      order: ({ age }) => age,
      numeric: true,
    },
    {
      key: 'years',
      label: 'Years since end',
      text: ({ years }) => formatOr(years, (value) => formatNumber(value)),
      order: ({ years }) => years,
      numeric: true,
    },
    {
      key: 'value',
      label: 'Value',
      text: ({ value }) => formatQuantity(value, unit),
      order: ({ value }) => value,
      numeric: true,
    },
    {
      key: 'expected',
      label: 'Expected untreated',
      text: ({ expected }) => formatOr(expected, (at) => formatQuantity(at.value, unit)),
      order: ({ expected }) => expected?.value ?? null,
      numeric: true,
    },
    {
      key: 'gain',
      label: 'Adjusted gain',
      text: ({ gain }) => formatOr(gain, (at) => formatChange(at.estimate, unit)),
      order: ({ gain }) => gain?.estimate ?? null,
      numeric: true,
    },
    {
      key: 'share',
      label: 'Retained share',
      text: (visit) => formatOr(laterShare(visit), ({ estimate }) => formatShare(estimate)),
      order: (visit) => laterShare(visit)?.estimate ?? null,
      numeric: true,
    },
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
