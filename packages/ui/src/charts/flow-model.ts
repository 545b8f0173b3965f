import { NOT_SEEN_WORDS, type FlowYear, type NotSeenReason } from '@longhold/core/answers';
import { formatCount, formatNoun } from '../format';
import { wholeYearsAxis, type ChartModel, type Layer } from './chart-model';

const BAR_WIDTH = 0.62;

/** Who was seen in each year: with a usable value, without one, not seen. */
export function flowModel(flow: readonly FlowYear[]): ChartModel {
  const shown = flow.filter((year) => year.eligible > 0);
  const most = shown.reduce((high, year) => Math.max(high, year.eligible), 1);
  const lastYear = shown.reduce((high, year) => Math.max(high, year.year), 1);
  return {
    x: wholeYearsAxis(lastYear),
    y: {
      label: 'Patients',
      range: [0, most * 1.08],
      write: (value) => (Number.isInteger(value) ? formatCount(value) : ''),
    },
    layers: shown.flatMap(barsOf),
    under: {
      label: 'Patients whose year has passed',
      at: new Map(shown.map((year) => [year.year, formatCount(year.eligible)])),
    },
    points: shown.map((year) => ({ x: year.year, text: describeFlowYear(year) })),
    key: [
      { kind: 'bar', texture: 'solid', tone: 'answer', label: 'Seen and measured' },
      { kind: 'bar', texture: 'hatched', tone: 'answer', label: 'Seen, no usable value' },
      { kind: 'bar', texture: 'open', tone: 'quiet', label: 'Not seen' },
    ],
  };
}

function barsOf(year: FlowYear): Layer[] {
  const bar = { kind: 'bar', x: year.year, width: BAR_WIDTH } as const;
  return [
    { ...bar, from: year.seen, to: year.eligible, tone: 'quiet', texture: 'open' },
    { ...bar, from: year.measured, to: year.seen, tone: 'answer', texture: 'hatched' },
    { ...bar, from: 0, to: year.measured, tone: 'answer', texture: 'solid' },
  ];
}

/** How many were not seen in a year, over all reasons. */
export function notSeenIn(year: FlowYear): number {
  return Object.values(year.notSeen).reduce((sum, count) => sum + count, 0);
}

/** Reasons with their counts, the commonest first: `3 moved away, 2 reason not known`. */
export function describeNotSeen(notSeen: FlowYear['notSeen']): string {
  return (Object.entries(notSeen) as [NotSeenReason, number][])
    .filter(([, count]) => count > 0)
    .sort(([, a], [, b]) => b - a)
    .map(([reason, count]) => `${formatCount(count)}\u00a0${NOT_SEEN_WORDS[reason].toLowerCase()}`)
    .join(', ');
}

/** One year of the flow in words, for the reading cursor. */
export function describeFlowYear(year: FlowYear): string {
  const missing = notSeenIn(year);
  const reasons = missing === 0 ? '' : ` (${describeNotSeen(year.notSeen)})`;
  const head = `Year ${year.year}: of ${formatNoun(year.eligible, 'patient')}, ${formatCount(year.measured)} measured`;
  return `${head}, ${formatCount(year.seenNotMeasured)} seen without a usable value, ${formatCount(missing)} not seen${reasons}.`;
}
