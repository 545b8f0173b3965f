import { betweenYearsText, shareText, type ChangeYear, type SplitAnswer } from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import {
  countColumn,
  formatChange,
  formatLimits,
  formatOr,
  NO_VALUE,
  SPAN_WORDS,
  type Column,
} from '@longhold/ui';

/** Columns of the change of the gain a year. */
export function changeColumns({ unit }: MeasureDefinition): readonly Column<ChangeYear>[] {
  const write = (value: number): string => formatChange(value, unit, 2);
  return [
    {
      key: 'years',
      label: 'Between',
      text: betweenYearsText,
      heading: true,
    },
    countColumn('n', 'Patients', ({ n }) => n),
    { key: 'mean', label: 'Change a year', text: ({ mean }) => write(mean), numeric: true },
    { key: 'limits', label: 'Interval', text: ({ limits }) => formatLimits(limits, write), numeric: true },
  ];
}

/** One part of a split over one span. */
export interface PartRow {
  readonly split: SplitAnswer;
  /** -1 is the whole. */
  readonly place: number;
}

/** Every part of every span that can be told of, the whole first. */
export function partRows(splits: readonly SplitAnswer[]): PartRow[] {
  return splits
    .filter(({ whole }) => whole !== null)
    .flatMap((split) => [-1, ...split.parts.keys()].map((place) => ({ split, place })));
}

/** Columns of the parts of a split. */
export const partColumns: readonly Column<PartRow>[] = [
  { key: 'span', label: 'When', text: ({ split }) => SPAN_WORDS[split.span] },
  { key: 'part', label: 'What', text: (row) => partOf(row)?.name ?? NO_VALUE, heading: true },
  countColumn('n', 'Patients', ({ split }) => split.n),
  {
    key: 'mean',
    label: 'Mean',
    text: (row) => formatOr(partOf(row)?.mean ?? null, asMillimetres),
    numeric: true,
  },
  {
    key: 'limits',
    label: 'Interval',
    text: (row) => formatOr(partOf(row)?.limits ?? null, (limits) => formatLimits(limits, asMillimetres)),
    numeric: true,
  },
  {
    key: 'untreated',
    label: 'Untreated, same ages and time',
    text: (row) =>
      formatOr(partOf(row)?.untreated ?? null, ({ mean, n }) => `${asMillimetres(mean)} (${n} children)`),
    numeric: true,
  },
  {
    key: 'beyond',
    label: 'Beyond untreated',
    text: (row) =>
      formatOr(
        partOf(row)?.beyondUntreated ?? null,
        ({ estimate, limits }) => `${asMillimetres(estimate)} (${formatLimits(limits, asMillimetres)})`,
      ),
    numeric: true,
  },
];

function partOf({ split, place }: PartRow): SplitAnswer['whole'] {
  return place === -1 ? split.whole : (split.parts[place] ?? null);
}

function asMillimetres(value: number): string {
  return formatChange(value, 'mm');
}

/** The skeletal share of a split in words; null where there is none. */
export function skeletalText({ skeletalShare }: SplitAnswer): string | null {
  return skeletalShare === null ? null : shareText(skeletalShare);
}
