import type {
  AboveThresholdYear,
  FlowYear,
  RetainedYear,
  SurvivalAnswer,
  SurvivalAtYear,
} from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import {
  countColumn,
  describeNotSeen,
  formatChange,
  formatOr,
  formatRatioInterval,
  formatShare,
  formatShareLimits,
  notSeenIn,
  NO_VALUE,
  numberColumn,
  yearColumn,
  type Column,
} from '@longhold/ui';

/** Columns of the retained share by year; gains are in the measure's unit. */
export function retentionColumns({ unit }: MeasureDefinition): readonly Column<RetainedYear>[] {
  const asGain = (gain: number): string => formatChange(gain, unit);
  return [
    yearColumn(({ year }) => year),
    countColumn('n', 'Patients', ({ n }) => n),
    numberColumn('then', 'Mean gain at the end of treatment', ({ meanGainAtEnd }) => meanGainAtEnd, asGain),
    numberColumn('now', 'Mean gain in that year', ({ meanGainNow }) => meanGainNow, asGain),
    numberColumn('share', 'Retained share', ({ share }) => share?.estimate ?? null, formatShare),
    intervalColumn(({ share }) => share?.interval ?? null, formatRatioInterval),
    {
      key: 'bootstrap',
      label: 'Interval by resampling',
      text: ({ bootstrap }) => formatOr(bootstrap, formatShareLimits),
      numeric: true,
    },
  ];
}

/** Columns of the share above the threshold by year, under no loss rule. */
export const aboveColumns: readonly Column<AboveThresholdYear>[] = [
  yearColumn(({ year }) => year),
  countColumn('n', 'Patients seen', ({ n }) => n),
  numberColumn('measured', 'Above, as measured', ({ measured }) => measured, formatShare),
  numberColumn(
    'corrected',
    'Above, error taken out',
    ({ corrected }) => corrected?.estimate ?? null,
    formatShare,
  ),
  intervalColumn(({ corrected }) => corrected?.limits ?? null, formatShareLimits),
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
  yearColumn(({ turnbull }) => turnbull.year),
  countColumn('atRisk', 'At risk', ({ turnbull }) => turnbull.atRisk),
  {
    key: 'estimate',
    label: 'Still there',
    text: ({ turnbull }) => stillThereText(turnbull),
    numeric: true,
  },
  intervalColumn(({ turnbull }) => turnbull.limits, formatShareLimits),
  {
    key: 'conventional',
    label: 'Conventional curve (interval)',
    text: ({ kaplanMeier }) => conventionalText(kaplanMeier),
    numeric: true,
  },
];

/** The share still there; with a star and what it lies between where the curve is not defined. */
function stillThereText({ estimate, undefinedWithin }: SurvivalAtYear): string {
  if (estimate === null) return 'nobody followed';
  return undefinedWithin === null
    ? formatShare(estimate)
    : `${formatShare(estimate)} * (${formatShareLimits(undefinedWithin)})`;
}

function conventionalText(row: SurvivalAtYear | null): string {
  if (row?.estimate == null) return 'nobody followed';
  return `${formatShare(row.estimate)} (${formatOr(row.limits, formatShareLimits)})`;
}

export const flowColumns: readonly Column<FlowYear>[] = [
  yearColumn(({ year }) => year),
  countColumn('eligible', 'Year has passed', ({ eligible }) => eligible),
  countColumn('measured', 'Measured', ({ measured }) => measured),
  countColumn('seenNotMeasured', 'Seen, no usable value', ({ seenNotMeasured }) => seenNotMeasured),
  countColumn('factorUnknown', 'Of these, film factor unknown', ({ seenFactorUnknown }) => seenFactorUnknown),
  countColumn('notSeen', 'Not seen', notSeenIn),
  { key: 'reasons', label: 'Why not seen', text: ({ notSeen }) => describeNotSeen(notSeen) || NO_VALUE },
];

function intervalColumn<Row, Interval>(
  interval: (row: Row) => Interval | null,
  write: (interval: Interval) => string,
): Column<Row> {
  return { key: 'interval', label: 'Interval', text: (row) => formatOr(interval(row), write), numeric: true };
}
