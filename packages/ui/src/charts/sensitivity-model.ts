import type { SensitivityRow } from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import { formatChange, formatLimits } from '../format';
import { paddedRange, type ChartModel, type Layer } from './chart-model';

/** The lasting gain under each choice, numbered as in the table, with intervals; the choice in force filled. */
export function sensitivityModel(
  rows: readonly SensitivityRow[],
  { code, unit }: MeasureDefinition,
): ChartModel {
  const shown = rows.flatMap((row, i) =>
    row.lasting === null ? [] : [{ row, lasting: row.lasting, at: i + 1 }],
  );
  const write = (value: number): string => formatChange(value, unit);
  const ends = shown.flatMap(({ lasting }) => [
    lasting.estimate,
    lasting.limits?.lower ?? lasting.estimate,
    lasting.limits?.upper ?? lasting.estimate,
  ]);
  return {
    x: {
      label: 'Number of the choice in the table',
      range: [0.4, Math.max(1, rows.length) + 0.6],
      write: (value) => String(value),
      ticks: rows.map((_, i) => i + 1),
    },
    y: { label: `Lasting gain in ${code}`, range: paddedRange([0, ...ends], 0.08), write },
    layers: [
      { kind: 'rule', at: 0, tone: 'ink' },
      ...shown.flatMap(({ row, lasting, at }): Layer[] => [
        {
          kind: 'whisker',
          x: at,
          lower: lasting.limits?.lower ?? null,
          upper: lasting.limits?.upper ?? null,
          tone: row.inForce ? 'answer' : 'quiet',
        },
        {
          kind: 'mark',
          x: at,
          y: lasting.estimate,
          shape: row.inForce ? 'disc' : 'square',
          tone: row.inForce ? 'answer' : 'quiet',
        },
      ]),
    ],
    under: null,
    points: shown.map(({ row, lasting, at }) => ({
      x: at,
      text: `${at}. ${row.choice}${row.inForce ? ' (in force)' : ''}: lasting gain ${write(lasting.estimate)}${lasting.limits === null ? '' : ` (${formatLimits(lasting.limits, write)})`}.`,
    })),
    key: [
      { kind: 'mark', shape: 'disc', tone: 'answer', label: 'As asked' },
      { kind: 'mark', shape: 'square', tone: 'quiet', label: 'With one thing changed' },
    ],
  };
}
