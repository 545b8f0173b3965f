import type {
  AboveThresholdYear,
  FlowYear,
  RetainedYear,
  SurvivalAnswer,
  SurvivalAtYear,
} from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import {
  describeNotSeen,
  formatChange,
  formatCount,
  formatOr,
  formatRatioInterval,
  formatShare,
  formatShareLimits,
  notSeenIn,
  NO_VALUE,
  type Column,
} from '@longhold/ui';

/** Columns of the retained share by year; gains are in the measure's unit. */
export function retentionColumns({ unit }: MeasureDefinition): readonly Column<RetainedYear>[] {
  return [
    {
      key: 'year',
      label: 'Year',
      text: ({ year }) => String(year),
      order: ({ year }) => year,
      numeric: true,
      heading: true,
    },
    { key: 'n', label: 'Patients', text: ({ n }) => formatCount(n), order: ({ n }) => n, numeric: true },
    {
      key: 'then',
      label: 'Mean gain at the end of treatment',
      text: ({ meanGainAtEnd }) => formatOr(meanGainAtEnd, (gain) => formatChange(gain, unit)),
      order: ({ meanGainAtEnd }) => meanGainAtEnd,
      numeric: true,
    },
    {
      key: 'now',
      label: 'Mean gain in that year',
      text: ({ meanGainNow }) => formatOr(meanGainNow, (gain) => formatChange(gain, unit)),
      order: ({ meanGainNow }) => meanGainNow,
      numeric: true,
    },
    {
      key: 'share',
      label: 'Retained share',
      text: ({ share }) => formatOr(share, ({ estimate }) => formatShare(estimate)),
      order: ({ share }) => share?.estimate ?? null,
      numeric: true,
    },
    {
      key: 'interval',
      label: 'Interval',
      text: ({ share }) => formatOr(share, ({ interval }) => formatRatioInterval(interval)),
      sortable: false,
      numeric: true,
    },
  ];
}

/** Columns of the share above the threshold by year, under no loss rule. */
export const aboveColumns: readonly Column<AboveThresholdYear>[] = [
  {
    key: 'year',
    label: 'Year',
    text: ({ year }) => String(year),
    order: ({ year }) => year,
    numeric: true,
    heading: true,
  },
  { key: 'n', label: 'Patients', text: ({ n }) => formatCount(n), order: ({ n }) => n, numeric: true },
  {
    key: 'measured',
    label: 'As measured',
    text: ({ measured }) => formatOr(measured, formatShare),
    order: ({ measured }) => measured,
    numeric: true,
  },
  {
    key: 'corrected',
    label: 'Measurement error taken out',
    text: ({ corrected }) => formatOr(corrected, ({ estimate }) => formatShare(estimate)),
    order: ({ corrected }) => corrected?.estimate ?? null,
    numeric: true,
  },
  {
    key: 'interval',
    label: 'Interval',
    text: ({ corrected }) => formatOr(corrected, ({ limits }) => formatShareLimits(limits)),
    sortable: false,
    numeric: true,
  },
];

/** One year of both survival curves side by side. */
export interface SurvivalRow {
  readonly turnbull: SurvivalAtYear;
  readonly kaplanMeier: SurvivalAtYear | null;
}

/** The years of the survival table. */
export function survivalRows({ turnbull, kaplanMeier }: SurvivalAnswer): readonly SurvivalRow[] {
  return turnbull.atYears.map((row) => ({
    turnbull: row,
    kaplanMeier: kaplanMeier.atYears.find(({ year }) => year === row.year) ?? null,
  }));
}

export const survivalColumns: readonly Column<SurvivalRow>[] = [
  {
    key: 'year',
    label: 'Year',
    text: (row) => String(row.turnbull.year),
    order: (row) => row.turnbull.year,
    numeric: true,
    heading: true,
  },
  {
    key: 'atRisk',
    label: 'At risk',
    text: (row) => formatCount(row.turnbull.atRisk),
    order: (row) => row.turnbull.atRisk,
    numeric: true,
  },
  {
    key: 'estimate',
    label: 'Still there',
    text: (row) => estimateText(row.turnbull),
    order: (row) => row.turnbull.estimate,
    numeric: true,
  },
  {
    key: 'limits',
    label: 'Interval',
    text: (row) => formatOr(row.turnbull.limits, formatShareLimits),
    sortable: false,
    numeric: true,
  },
  {
    key: 'conventional',
    label: 'Conventional curve (interval)',
    text: ({ kaplanMeier }) =>
      kaplanMeier === null || kaplanMeier.limits === null
        ? NO_VALUE
        : `${estimateText(kaplanMeier)} (${formatShareLimits(kaplanMeier.limits)})`,
    sortable: false,
    numeric: true,
  },
];

function estimateText({ estimate, undefinedWithin }: SurvivalAtYear): string {
  if (estimate === null) return NO_VALUE;
  const between = undefinedWithin === null ? '' : `, somewhere in ${formatShareLimits(undefinedWithin)}`;
  return `${formatShare(estimate)}${between}`;
}

export const flowColumns: readonly Column<FlowYear>[] = [
  {
    key: 'year',
    label: 'Year',
    text: ({ year }) => String(year),
    order: ({ year }) => year,
    numeric: true,
    heading: true,
  },
  {
    key: 'eligible',
    label: 'Year has passed',
    text: ({ eligible }) => formatCount(eligible),
    order: ({ eligible }) => eligible,
    numeric: true,
  },
  {
    key: 'measured',
    label: 'Measured',
    text: ({ measured }) => formatCount(measured),
    order: ({ measured }) => measured,
    numeric: true,
  },
  {
    key: 'seenNotMeasured',
    label: 'Seen, not measured',
    text: ({ seenNotMeasured }) => formatCount(seenNotMeasured),
    order: ({ seenNotMeasured }) => seenNotMeasured,
    numeric: true,
  },
  {
    key: 'notSeen',
    label: 'Not seen',
    text: (row) => formatCount(notSeenIn(row)),
    order: notSeenIn,
    numeric: true,
  },
  {
    key: 'reasons',
    label: 'Why not seen',
    text: ({ notSeen }) => describeNotSeen(notSeen) || NO_VALUE,
    sortable: false,
  },
];
