import type { ModelledGain, QuietAge } from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import {
  countColumn,
  formatChange,
  formatLimits,
  formatNumber,
  formatOr,
  SEX_WORDS,
  type Column,
} from '@longhold/ui';

/** Columns of the modelled course of the mean gain. */
export function courseColumns(
  { unit }: MeasureDefinition,
  passingName: string,
): readonly Column<ModelledGain>[] {
  const write = (value: number): string => formatChange(value, unit);
  return [
    {
      key: 'years',
      label: 'Years',
      text: ({ years }) => formatNumber(years, 1),
      heading: true,
      unbroken: true,
    },
    countColumn('followed', 'Measured then or later', ({ followed }) => followed),
    { key: 'total', label: 'Mean gain', text: ({ total }) => write(total), numeric: true },
    { key: 'limits', label: 'Interval', text: ({ limits }) => formatLimits(limits, write), numeric: true },
    { key: 'lasting', label: 'Lasting', text: ({ lasting }) => formatOr(lasting, write), numeric: true },
    {
      key: 'passing',
      label: `Of it ${passingName}`,
      text: ({ passing }) => formatOr(passing, write),
      numeric: true,
    },
  ];
}

/** One number of the two models side by side; null where a model could not be fitted. */
export interface ModelRow {
  readonly name: string;
  readonly clock: string | null;
  readonly fading: string | null;
}

export const modelColumns: readonly Column<ModelRow>[] = [
  { key: 'name', label: '', text: ({ name }) => name, heading: true },
  {
    key: 'clock',
    label: 'Growth clock',
    text: ({ clock }) => formatOr(clock, (text) => text),
    numeric: true,
  },
  {
    key: 'fading',
    label: 'Fading part',
    text: ({ fading }) => formatOr(fading, (text) => text),
    numeric: true,
  },
];

export const quietColumns: readonly Column<QuietAge>[] = [
  { key: 'sex', label: 'Sex', text: ({ sex }) => SEX_WORDS[sex], heading: true },
  {
    key: 'age',
    label: 'Growth has nearly ended from',
    text: ({ age }) => (age === null ? 'beyond the reference' : `${formatNumber(age, 1)} years`),
    numeric: true,
  },
  countColumn('patients', 'Patients', ({ patients }) => patients),
  countColumn('seen', 'Measured at that age or later', ({ seenAfter }) => seenAfter),
];
