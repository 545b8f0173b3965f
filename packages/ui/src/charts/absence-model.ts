import type { BoundedSurvival } from '@longhold/core/answers';
import { formatShare } from '../format';
import { type ChartModel, patientShareAxis, sinceEndAxis } from './chart-model';

const WORST_DASH = [4, 4];

/** Survival between the best and the worst case for those who stayed away. */
export function absenceModel(bounds: readonly BoundedSurvival[]): ChartModel {
  const x = bounds.map(({ years }) => years);
  const last = x[x.length - 1] ?? 1;
  return {
    x: sinceEndAxis(last),
    y: patientShareAxis('Gain still there'),
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
