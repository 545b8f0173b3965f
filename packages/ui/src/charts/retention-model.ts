import type { RetainedYear, Threshold } from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import type { RatioInterval } from '@longhold/core/retention';
import { formatChange, formatCount, formatNoun, formatRatioInterval, formatShare } from '../format';
import { paddedRange, type ChartModel, type Layer, type WhiskerLayer } from './chart-model';

/** Shares beyond these are drawn as running off the chart, so that one wild year does not flatten the others. */
const WIDEST_RANGE = [-0.5, 2] as const;

/** The retained share of the group by year, each with its interval. */
export function retentionModel(
  years: readonly RetainedYear[],
  measure: MeasureDefinition,
  threshold: Threshold,
): ChartModel {
  const shown = years.filter((year) => year.n > 0);
  const known = shown.flatMap((year) => (year.share === null ? [] : [{ year: year.year, ...year.share }]));
  const lastYear = shown.reduce((most, year) => Math.max(most, year.year), 1);
  const layers: Layer[] = [
    { kind: 'rule', axis: 'y', at: 1, tone: 'quiet', dash: [2, 4], label: 'All of the gain' },
    ...(threshold.kind === 'share' ? [thresholdRule(threshold.share)] : []),
    ...(known.some(({ estimate }) => estimate < 0.15) ? [zeroRule()] : []),
    ...known.map(({ year, interval }) => whisker(year, interval)),
    {
      kind: 'line',
      x: known.map(({ year }) => year),
      y: known.map(({ estimate }) => estimate),
      tone: 'answer',
      width: 1.25,
    },
    ...known.map(({ year, estimate }): Layer => ({
      kind: 'mark',
      x: year,
      y: estimate,
      shape: 'disc',
      tone: 'answer',
    })),
  ];
  return {
    x: {
      label: 'Years since the end of active treatment',
      range: [0.4, lastYear + 0.6],
      write: (value) => String(value),
      ticks: Array.from({ length: lastYear }, (_, index) => index + 1),
    },
    y: {
      label: 'Retained share of the gain',
      range: shareRange(known),
      write: (value) => formatShare(value),
    },
    layers,
    under: {
      label: 'Patients measured in that year',
      at: new Map(years.map((year) => [year.year, formatCount(year.n)])),
    },
    points: shown.map((year) => ({ x: year.year, text: describeRetainedYear(year, measure) })),
    key: [
      { kind: 'mark', shape: 'disc', tone: 'answer', label: 'Retained share with its interval' },
      ...(threshold.kind === 'share'
        ? [
            {
              kind: 'line',
              tone: 'compare',
              dash: [7, 4],
              label: `Threshold asked about (${formatShare(threshold.share)})`,
            } as const,
          ]
        : []),
    ],
  };
}

/** One year of the answer in words, for the reading cursor. */
export function describeRetainedYear(year: RetainedYear, measure: MeasureDefinition): string {
  const head = `Year ${year.year}, ${formatNoun(year.n, 'patient')}`;
  if (year.share === null) return `${head}: too few to give a share.`;
  const gains =
    year.meanGainAtEnd === null || year.meanGainNow === null
      ? ''
      : ` Mean gain ${formatChange(year.meanGainAtEnd, measure.unit)} then, ${formatChange(year.meanGainNow, measure.unit)} now.`;
  return `${head}: ${formatShare(year.share.estimate)} of the gain kept, interval ${formatRatioInterval(year.share.interval)}.${gains}`;
}

function thresholdRule(share: number): Layer {
  return { kind: 'rule', axis: 'y', at: share, tone: 'compare', dash: [7, 4] };
}

function zeroRule(): Layer {
  return { kind: 'rule', axis: 'y', at: 0, tone: 'quiet', dash: [2, 4], label: 'Nothing left' };
}

function whisker(x: number, interval: RatioInterval): WhiskerLayer {
  return interval.kind === 'bounded'
    ? { kind: 'whisker', x, lower: interval.lower, upper: interval.upper, tone: 'answer' }
    : { kind: 'whisker', x, lower: null, upper: null, tone: 'answer' };
}

function shareRange(
  years: readonly { estimate: number; interval: RatioInterval }[],
): readonly [number, number] {
  const values = years.flatMap(({ estimate, interval }) =>
    interval.kind === 'bounded' ? [estimate, interval.lower, interval.upper] : [estimate],
  );
  const [low, high] = paddedRange([...values, 0.4, 1.1], 0.05);
  return [Math.max(low, WIDEST_RANGE[0]), Math.min(high, WIDEST_RANGE[1])];
}
