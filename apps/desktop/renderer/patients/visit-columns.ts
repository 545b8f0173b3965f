import { VERDICT_WORDS, type VisitOutcome } from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import {
  formatChange,
  formatLimits,
  formatNumber,
  formatOr,
  formatQuantity,
  formatRatioInterval,
  formatShare,
  NO_VALUE,
  VISIT_WORDS,
  type Column,
} from '@longhold/ui';

/** Columns of one patient's visits. The two uncertainties of a gain stand apart. */
export function visitColumns({ unit }: MeasureDefinition, level: number): readonly Column<VisitOutcome>[] {
  const percent = formatShare(level);
  return [
    {
      key: 'kind',
      label: 'Visit',
      text: ({ kind, date }) => `${VISIT_WORDS[kind]}${date === null ? '' : `, ${date}`}`,
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
      label: 'Value (readings)',
      text: ({ value, readings }) => `${formatQuantity(value, unit)} (${readings})`,
      order: ({ value }) => value,
      numeric: true,
    },
    {
      key: 'expected',
      label: 'Expected without treatment',
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
      key: 'uncertainty',
      label: '± measurement, ± growth',
      text: ({ gain }) =>
        formatOr(gain, (at) => `± ${formatNumber(at.measurementSd)}, ± ${formatNumber(at.growthSd)}`),
      sortable: false,
      numeric: true,
    },
    {
      key: 'limits',
      label: `${percent} limits, both together`,
      text: ({ gain }) => formatOr(gain, (at) => formatLimits(at.limits)),
      sortable: false,
      numeric: true,
    },
    {
      key: 'share',
      label: `Retained share (${percent} interval)`,
      text: ({ kind, share }) =>
        share === null || kind !== 'follow_up'
          ? NO_VALUE
          : `${formatShare(share.estimate)} (${formatRatioInterval(share.interval)})`,
      order: ({ share }) => share?.estimate ?? null,
      numeric: true,
    },
    {
      key: 'status',
      label: 'Status and why',
      text: ({ status }) => (status === null ? NO_VALUE : VERDICT_WORDS[status.verdict]),
    },
  ];
}
