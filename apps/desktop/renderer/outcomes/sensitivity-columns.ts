import {
  choiceText,
  comparedSurvivalText,
  DIAGNOSIS_WORDS,
  retainedText,
  shareText,
  type SensitivityAnswer,
  type SensitivityRow,
} from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import {
  countColumn,
  formatChange,
  formatLimits,
  formatOr,
  formatShare,
  type Column,
  type ComparedResult,
} from '@longhold/ui';

/** A row with its number in the figure. */
export interface NumberedRow extends SensitivityRow {
  readonly number: number;
}

/** The rows as the figure numbers them. */
export function numbered({ rows }: SensitivityAnswer): NumberedRow[] {
  return rows.map((row, i) => ({ ...row, number: i + 1 }));
}

/** Columns of the sensitivity panel: the choices, and the result that the page is about under each. */
export function sensitivityColumns(
  answer: SensitivityAnswer,
  measure: MeasureDefinition,
  compared: ComparedResult,
): readonly Column<NumberedRow>[] {
  return [
    { key: 'number', label: 'No.', text: ({ number }) => String(number), numeric: true },
    {
      key: 'choice',
      label: 'Changed',
      text: choiceText,
      heading: true,
    },
    countColumn('patients', 'Patients', ({ patients }) => patients),
    ...resultColumns(answer, measure)[compared],
  ];
}

/** Years at which survival is read off beside the one that is compared. */
const READ_YEARS = [1, 2, 3, 5];

function resultColumns(
  { retainedYear, survivalYear }: SensitivityAnswer,
  { unit }: MeasureDefinition,
): Readonly<Record<ComparedResult, readonly Column<NumberedRow>[]>> {
  const write = (value: number): string => formatChange(value, unit);
  return {
    kept: [
      {
        key: 'retained',
        label: `Kept at year ${retainedYear ?? '–'}`,
        text: ({ retained }) => formatOr(retained, retainedText),
        numeric: true,
      },
    ],
    lasts: [
      ...READ_YEARS.filter((year) => year !== survivalYear).map((year) => ({
        key: `survival-${year}`,
        label: `At year ${year}`,
        text: ({ atYears }: NumberedRow): string =>
          formatOr(atYears.find((one) => one.year === year)?.estimate ?? null, (share) => formatShare(share)),
        numeric: true,
      })),
      {
        key: 'survival',
        label: `Still there at year ${survivalYear ?? '–'}`,
        text: ({ survival }) => formatOr(comparedSurvivalText(survival), String),
        numeric: true,
      },
    ],
    grown: [
      {
        key: 'lasting',
        label: 'Lasting gain',
        text: ({ lasting }) =>
          formatOr(
            lasting,
            ({ estimate, limits }) =>
              `${write(estimate)} (${formatOr(limits, (ends) => formatLimits(ends, write))})`,
          ),
        numeric: true,
      },
      {
        key: 'share',
        label: 'Lasting share',
        text: ({ share }) => formatOr(share, shareText),
        numeric: true,
      },
      {
        key: 'reading',
        label: 'Reading',
        text: ({ diagnosis }) => formatOr(diagnosis, (one) => DIAGNOSIS_WORDS[one]),
      },
    ],
  };
}
