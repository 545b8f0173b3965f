import {
  comparedSurvivalText,
  retainedText,
  shareText,
  type ReferenceRow,
  type SensitivityAnswer,
} from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import { formatChange, formatLimits, formatOr, type Column } from '@longhold/ui';

/** A growth reference with its number in the figure. */
export interface NumberedReference extends ReferenceRow {
  readonly number: number;
}

/** The references as the figure numbers them. */
export function numberedReferences({ references }: SensitivityAnswer): NumberedReference[] {
  return references.rows.map((row, i) => ({ ...row, number: i + 1 }));
}

/** Survival is compared at this year, the latest that is customarily reported for this treatment. */
const SURVIVAL_YEAR = 5;

/** Columns of the comparison of growth references: the main results under each. */
export function referenceColumns(
  { retainedYear }: SensitivityAnswer,
  { unit }: MeasureDefinition,
): readonly Column<NumberedReference>[] {
  const write = (value: number): string => formatChange(value, unit);
  return [
    { key: 'number', label: 'No.', text: ({ number }) => String(number), numeric: true },
    {
      key: 'reference',
      label: 'Growth reference',
      text: ({ label, inForce }) => `${label}${inForce ? ' (as asked)' : ''}`,
      heading: true,
    },
    {
      key: 'gain',
      label: 'Gain of treatment',
      text: ({ results }) =>
        formatOr(
          results?.gain ?? null,
          ({ mean, limits, n }) => `${write(mean)} (${formatLimits(limits, write)}; n ${n})`,
        ),
      numeric: true,
    },
    {
      key: 'retained',
      label: `Kept at year ${retainedYear ?? '–'}`,
      text: ({ results }) => formatOr(results?.retained ?? null, retainedText),
      numeric: true,
    },
    {
      key: 'survival',
      label: `Still there at year ${SURVIVAL_YEAR}`,
      text: ({ results }) =>
        formatOr(
          comparedSurvivalText(results?.atYears.find(({ year }) => year === SURVIVAL_YEAR) ?? null),
          String,
        ),
      numeric: true,
    },
    {
      key: 'lasting',
      label: 'Lasting gain',
      text: ({ results }) =>
        formatOr(
          results?.lasting ?? null,
          ({ estimate, limits }) =>
            `${write(estimate)} (${limits === null ? 'no interval' : formatLimits(limits, write)})`,
        ),
      numeric: true,
    },
    {
      key: 'share',
      label: 'Lasting share',
      text: ({ results }) => formatOr(results?.share ?? null, shareText),
      numeric: true,
    },
  ];
}
