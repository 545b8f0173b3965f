import type { BoundedSurvival } from '@longhold/core/answers';
import { formatShare } from '../format';
import { YEARS_SINCE_END, type ChartModel } from './chart-model';

const WORST_DASH = [4, 4];

/** Survival between the best and the worst case for those who stayed away. */
export function absenceModel(bounds: readonly BoundedSurvival[]): ChartModel {
  const x = bounds.map(({ years }) => years);
  const last = x[x.length - 1] ?? 1;
  return {
    x: {
      label: YEARS_SINCE_END,
      range: [-0.15, last + 0.15],
      write: (value) => String(value),
      ticks: Array.from({ length: Math.floor(last) + 1 }, (_, year) => year),
    },
    y: {
      label: 'Gain still there',
      range: [-0.03, 1.05],
      write: (value) => formatShare(value),
      ticks: [0, 0.25, 0.5, 0.75, 1],
    },
    layers: [
      {
        kind: 'band',
        x,
        lower: bounds.map(({ worst }) => worst),
        upper: bounds.map(({ best }) => best),
        tone: 'band',
      },
      { kind: 'line', x, y: bounds.map(({ best }) => best), tone: 'held', dash: [8, 3], width: 1.75 },
      { kind: 'line', x, y: bounds.map(({ worst }) => worst), tone: 'lost', dash: WORST_DASH, width: 1.75 },
      { kind: 'line', x, y: bounds.map(({ estimate }) => estimate), tone: 'answer', width: 2.5 },
    ],
    under: null,
    points: bounds
      .filter(({ years }) => Number.isInteger(years))
      .map(({ years, worst, estimate, best }) => ({
        x: years,
        text: `Year ${years}: ${formatShare(estimate)} estimated; between ${formatShare(worst)} (all who stayed away lost it) and ${formatShare(best)} (all of them kept it).`,
      })),
    key: [
      { kind: 'line', tone: 'answer', label: 'As estimated' },
      { kind: 'line', tone: 'held', dash: [8, 3], label: 'All who stayed away kept the gain' },
      {
        kind: 'line',
        tone: 'lost',
        dash: WORST_DASH,
        label: 'All who stayed away lost it right after the last visit',
      },
    ],
  };
}
