import type { PlannedYears, PlanningAnswer } from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import { formatCount, formatOr, formatQuantity, formatShare, yearColumn, type Column } from '@longhold/ui';

/** Columns of a plan: half-widths of the lasting gain (and of its share) for several numbers of patients. */
export function planningColumns(
  { numbers }: PlanningAnswer,
  { unit }: MeasureDefinition,
): readonly Column<PlannedYears>[] {
  return [
    { ...yearColumn<PlannedYears>(({ years }) => years), label: 'Years of follow-up' },
    ...numbers.map((n, i): Column<PlannedYears> => ({
      key: `n-${n}`,
      label: `${formatCount(n)} patients`,
      text: ({ lasting, share }) =>
        formatOr(lasting[i] ?? null, (half) => {
          const part = formatOr(share[i] ?? null, (of) => `±${formatShare(of)}`);
          return `±${formatQuantity(half, unit, 2)} (${part})`;
        }),
      numeric: true,
    })),
    {
      key: 'needed',
      label: 'Patients needed',
      text: ({ patients }) => formatOr(patients, formatCount),
      numeric: true,
    },
  ];
}

/** Reads a percentage typed by the user; null where it is none from 0 to 80. */
export function readPercent(text: string): number | null {
  const value = Number(text.replace('%', '').replace(',', '.').trim());
  return text.trim() !== '' && value >= 0 && value <= 80 ? value / 100 : null;
}

/** Reads an amount typed by the user; null where it is none above 0 and up to 20. */
export function readAmount(text: string): number | null {
  const value = Number(text.replace(',', '.').trim());
  return text.trim() !== '' && value > 0 && value <= 20 ? value : null;
}
