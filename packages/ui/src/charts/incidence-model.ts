import type { CompetingAnswer } from '@longhold/core/answers';
import { formatCount, formatShare } from '../format';
import { type ChartModel, patientShareAxis, sinceEndAxis } from './chart-model';

const AGAIN_DASH = [6, 4];

/** Chances that the gain was found lost, and that a second treatment came first. */
export function incidenceModel({ points, atYears }: CompetingAnswer): ChartModel {
  const known = atYears.filter(({ lost }) => lost.probability !== null);
  const last = Math.max(1, points[points.length - 1]?.time ?? 1, ...known.map(({ year }) => year));
  const end = { time: last, lost: points.at(-1)?.lost ?? 0, treatedAgain: points.at(-1)?.treatedAgain ?? 0 };
  const steps = [{ time: 0, lost: 0, treatedAgain: 0 }, ...points, end];
  const x = steps.map(({ time }) => time);
  return {
    x: sinceEndAxis(last, 0.25),
    y: patientShareAxis('Share of patients'),
    layers: [
      { kind: 'line', x, y: steps.map(({ lost }) => lost), tone: 'lost', width: 2.25, stepped: true },
      {
        kind: 'line',
        x,
        y: steps.map(({ treatedAgain }) => treatedAgain),
        tone: 'again',
        dash: AGAIN_DASH,
        width: 2.25,
        stepped: true,
      },
    ],
    under: { label: 'At risk', at: new Map(known.map(({ year, atRisk }) => [year, formatCount(atRisk)])) },
    points: known.map(({ year, lost, treatedAgain, atRisk }) => ({
      x: year,
      text: `Year ${year}: ${formatShare(lost.probability ?? 0)} found lost, ${formatShare(treatedAgain.probability ?? 0)} treated again first; ${formatCount(atRisk)} at risk.`,
    })),
    key: [
      { kind: 'line', tone: 'lost', label: 'Gain found lost' },
      { kind: 'line', tone: 'again', dash: AGAIN_DASH, label: 'Treated again before that' },
    ],
  };
}
