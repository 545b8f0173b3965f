import type { PlanningAnswer } from '@longhold/core/answers';
import type { MeasureDefinition, Unit } from '@longhold/core/measures';
import { formatCount, formatQuantity, formatShare } from '../format';
import { paddedRange, type ChartModel, type Layer } from './chart-model';
import { signOf } from './group-curves-model';

const TARGET_DASH = [7, 4];

/** How wide the interval of the lasting gain would be, by years of follow-up, one line for each number of patients. */
export function planningModel(
  { numbers, rows, target, floor }: PlanningAnswer,
  { code, unit }: MeasureDefinition,
): ChartModel {
  const years = rows.map((row) => row.years);
  const last = years.at(-1) ?? 1;
  const lines = numbers.map((number, i) => ({
    number,
    ...signOf(i),
    known: rows.flatMap((row) => {
      const half = row.lasting[i];
      return half === undefined || half === null ? [] : [{ years: row.years, half }];
    }),
  }));
  const write = (value: number): string => formatQuantity(value, unit, 1);
  return {
    x: {
      label: 'Years of follow-up',
      range: [0.6, last + 0.6],
      write: (value) => String(value),
      ticks: years,
    },
    y: {
      label: `Lasting gain in ${code} known to \u00b1`,
      range: [
        0,
        paddedRange([0, target, ...lines.flatMap(({ known }) => known.map(({ half }) => half))], 0.06)[1],
      ],
      write,
    },
    layers: [
      { kind: 'rule', at: target, tone: 'ink', dash: TARGET_DASH },
      ...(floor > 0 ? [{ kind: 'rule', at: floor, tone: 'quiet' } as const] : []),
      ...lines.flatMap(({ known, tone, dash, shape }): Layer[] => [
        {
          kind: 'line',
          x: known.map((place) => place.years),
          y: known.map(({ half }) => half),
          tone,
          dash,
          width: 1.75,
        },
        ...known.map((place): Layer => ({ kind: 'mark', x: place.years, y: place.half, shape, tone })),
      ]),
    ],
    under: null,
    points: rows.map((row) => ({
      x: row.years,
      text: `${row.years} ${row.years === 1 ? 'year' : 'years'}: ${numbers
        .map((number, i) => describeHalf(number, row.lasting[i], row.share[i], unit))
        .join('; ')}.`,
    })),
    key: [
      ...lines.map(({ number, tone, shape, dash }) => ({
        kind: 'mark' as const,
        tone,
        shape,
        dash,
        label: `${formatCount(number)} patients`,
      })),
      { kind: 'line', tone: 'ink', dash: TARGET_DASH, label: 'Asked for' },
      ...(floor > 0
        ? [{ kind: 'line' as const, tone: 'quiet' as const, label: 'What the growth curve leaves in doubt' }]
        : []),
    ],
  };
}

function describeHalf(
  number: number,
  half: number | null | undefined,
  share: number | null | undefined,
  unit: Unit,
): string {
  const patients = `${formatCount(number)} patients`;
  if (half === undefined || half === null) return `${patients} tell nothing`;
  const part = share === undefined || share === null ? '' : ` (share \u00b1${formatShare(share)})`;
  return `${patients} \u00b1${formatQuantity(half, unit, 2)}${part}`;
}
