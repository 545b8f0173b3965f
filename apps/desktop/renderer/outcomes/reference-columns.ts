import {
  DIAGNOSIS_WORDS,
  droppedText,
  type ReferenceRow,
  type SensitivityAnswer,
} from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import {
  countColumn,
  formatChange,
  formatLimits,
  formatOr,
  formatRatioInterval,
  formatShare,
  formatShareLimits,
  type Column,
} from '@longhold/ui';

/** A growth reference with its number in the figure. */
export interface NumberedReference extends ReferenceRow {
  readonly number: number;
}

/** The references as the figure numbers them. */
export function numberedReferences({ references }: SensitivityAnswer): NumberedReference[] {
  return references.rows.map((row, i) => ({ ...row, number: i + 1 }));
}

/** Columns of the comparison of growth references: the main results under each, and who drops out or why it cannot be used. */
export function referenceColumns(
  { retainedYear, survivalYear }: SensitivityAnswer,
  { unit }: MeasureDefinition,
): readonly Column<NumberedReference>[] {
  const write = (value: number): string => formatChange(value, unit);
  const shareText = ({ estimate, interval }: NonNullable<Retained>): string =>
    `${formatShare(estimate)} (${formatRatioInterval(interval)})`;
  return [
    { key: 'number', label: 'No.', text: ({ number }) => String(number), numeric: true },
    {
      key: 'reference',
      label: 'Growth reference',
      text: ({ label, inForce }) => `${label}${inForce ? ' (as asked)' : ''}`,
      heading: true,
    },
    countColumn('patients', 'Patients', ({ results }) => results?.patients ?? null),
    {
      key: 'gain',
      label: 'Gain of treatment',
      text: ({ results }) =>
        formatOr(
          results?.gain ?? null,
          ({ mean, limits }) => `${write(mean)} (${formatLimits(limits, write)})`,
        ),
      numeric: true,
    },
    {
      key: 'retained',
      label: `Kept at year ${retainedYear ?? '–'}`,
      text: ({ results }) =>
        formatOr(results?.retained ?? null, (retained) => `${shareText(retained)}, n ${retained.n}`),
      numeric: true,
    },
    {
      key: 'survival',
      label: `Still there at year ${survivalYear ?? '–'}`,
      text: ({ results }) => {
        const survival = results?.survival ?? null;
        return survival?.estimate == null
          ? formatOr(null, String)
          : `${formatShare(survival.estimate)} (${formatOr(survival.limits, formatShareLimits)}), at risk ${survival.atRisk}`;
      },
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
    {
      key: 'reading',
      label: 'Reading',
      text: ({ results }) => formatOr(results?.diagnosis ?? null, (one) => DIAGNOSIS_WORDS[one]),
    },
    {
      key: 'dropped',
      label: 'Who drops out, or why it cannot be used',
      text: ({ results, why }) => why ?? formatOr(results === null ? null : remarks(results), String),
    },
  ];
}

type Results = NonNullable<ReferenceRow['results']>;
type Retained = Pick<NonNullable<Results['share']>, 'estimate' | 'interval'> | null;

function remarks(results: Results): string | null {
  const parts = [droppedText(results), results.lastingRefused].flatMap((part) => part ?? []);
  return parts.length === 0 ? null : parts.join('. ');
}
