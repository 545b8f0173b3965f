import type { MethodErrorInForce } from '@longhold/core/agreement';
import { methodErrorWords, type MethodErrorWords } from '@longhold/core/answers';
import { MEASURES, type MeasureDefinition } from '@longhold/core/measures';
import {
  formatLimits,
  formatNumber,
  formatOr,
  formatQuantity,
  formatSigned,
  unitWord,
  type Column,
} from '@longhold/ui';
import type { MeasureErrors } from '../state/host';

/** A measure with its method error in force; null where the host gave none. */
export interface MeasureRow {
  readonly measure: MeasureDefinition;
  readonly error: MethodErrorInForce | null;
}

/** A difference between first and second readings less likely than this under no bias is pointed out. */
const DOUBTFUL = 0.1;

/** Every measure of the catalogue, in its order. */
export function measureRows(errors: MeasureErrors): readonly MeasureRow[] {
  const byCode = new Map(errors.map(({ measure, error }) => [measure, error]));
  return MEASURES.map((measure) => ({ measure, error: byCode.get(measure.code) ?? null }));
}

/** A warning where second readings differ from first ones by more than chance; null where not. */
export function biasWords({ measure, error }: MeasureRow): string | null {
  const duplicates = error?.duplicates ?? null;
  if (duplicates === null || duplicates.biasP >= DOUBTFUL) return null;
  return `second readings differ from first ones by ${formatSigned(duplicates.bias, 2)} ${unitWord(measure.unit)} on average (p = ${duplicates.biasP.toFixed(3)}).`;
}

/** The parts of the error with where they come from; null where the host gave none. */
export function partWords({ measure, error }: MeasureRow): MethodErrorWords | null {
  return error === null ? null : methodErrorWords(error, measure.unit);
}

function errorWords({ measure, error }: MeasureRow): string {
  return formatOr(error, ({ sd }) => formatQuantity(sd, measure.unit, 2));
}

export const measureColumns: readonly Column<MeasureRow>[] = [
  { key: 'measure', label: 'Measure', text: ({ measure }) => measure.code, heading: true },
  { key: 'unit', label: 'Unit', text: ({ measure }) => unitWord(measure.unit) },
  {
    key: 'direction',
    label: 'Favourable',
    text: ({ measure }) => (measure.direction === 1 ? 'Larger' : 'Smaller'),
  },
  { key: 'grows', label: 'Changes with growth', text: ({ measure }) => (measure.grows ? 'Yes' : 'No') },
  {
    key: 'plausible',
    label: 'Plausible range',
    text: ({ measure: { plausible } }) =>
      formatLimits({ lower: plausible[0], upper: plausible[1] }, (value) => formatNumber(value, 0)),
    sortable: false,
    numeric: true,
  },
  {
    key: 'error',
    label: 'Method error of one film read once',
    text: errorWords,
    order: ({ error }) => error?.sd ?? null,
  },
  {
    key: 'smallest',
    label: 'Smallest detectable change',
    text: ({ measure, error }) =>
      formatOr(error, (found) => formatQuantity(found.smallestDetectableChange, measure.unit)),
    order: ({ error }) => error?.smallestDetectableChange ?? null,
    numeric: true,
  },
];
