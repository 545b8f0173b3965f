import type { RetainedYear, Threshold } from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import type { RatioInterval } from '@longhold/core/ratio';
import { formatChange, formatCount, formatNoun, formatRatioInterval, formatShare } from '../format';
import {
  paddedRange,
  wholeYearsAxis,
  type ChartModel,
  type KeyEntry,
  type Layer,
  type WhiskerLayer,
} from './chart-model';

/** Shares beyond these are drawn as running off the chart, so that one wild year does not flatten the others. */
const WIDEST_RANGE = [-0.5, 2] as const;

const THRESHOLD_DASH = [7, 4];
const ALL_DASH = [2, 4];

/** The retained share of the group by year, each with its interval. */
export function retentionModel(
  years: readonly RetainedYear[],
  measure: MeasureDefinition,
  threshold: Threshold,
): ChartModel {
  const shown = years.filter((year) => year.n > 0);
  const shares = shown.flatMap(({ year, share }) => (share === null ? [] : [{ year, ...share }]));
  const lastYear = shown.reduce((most, { year }) => Math.max(most, year), 1);
  return {
    x: wholeYearsAxis(lastYear),
    y: {
      label: 'Retained share of the gain',
      range: shareRange(shares.filter(isBounded)),
      write: (value) => formatShare(value),
    },
    layers: retentionLayers(shares, threshold),
    under: {
      label: 'Patients measured in that year',
      at: new Map(years.map((year) => [year.year, formatCount(year.n)])),
    },
    points: shown.map((year) => ({ x: year.year, text: describeRetainedYear(year, measure) })),
    key: retentionKey(shares, threshold),
  };
}

interface YearShare {
  readonly year: number;
  readonly estimate: number;
  readonly interval: RatioInterval;
}

function isBounded({ interval }: YearShare): boolean {
  return interval.kind === 'bounded';
}

function retentionLayers(shares: readonly YearShare[], threshold: Threshold): Layer[] {
  const bounded = shares.filter(isBounded);
  const line: Layer = {
    kind: 'line',
    x: bounded.map(({ year }) => year),
    y: bounded.map(({ estimate }) => estimate),
    tone: 'answer',
    width: 1.25,
  };
  return [
    { kind: 'rule', at: 1, tone: 'quiet', dash: ALL_DASH },
    ...(threshold.kind === 'share' ? [thresholdRule(threshold.share)] : []),
    ...shares.map(({ year, interval }) => whisker(year, interval)),
    line,
    ...bounded.map(({ year, estimate }): Layer => ({
      kind: 'mark',
      x: year,
      y: estimate,
      shape: 'disc',
      tone: 'answer',
    })),
  ];
}

function retentionKey(shares: readonly YearShare[], threshold: Threshold): KeyEntry[] {
  const entries: KeyEntry[] = [
    { kind: 'mark', shape: 'disc', tone: 'answer', label: 'Retained share with its interval' },
  ];
  entries.push({ kind: 'line', tone: 'quiet', dash: ALL_DASH, label: 'All of the gain' });
  if (!shares.every(isBounded)) {
    entries.push({ kind: 'line', tone: 'quiet', label: 'Arrows at both ends: the share is not bounded' });
  }
  if (threshold.kind === 'share') {
    const label = `Threshold asked about (${formatShare(threshold.share)})`;
    entries.push({ kind: 'line', tone: 'compare', dash: THRESHOLD_DASH, label });
  }
  return entries;
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
  return { kind: 'rule', at: share, tone: 'compare', dash: THRESHOLD_DASH };
}

function whisker(x: number, interval: RatioInterval): WhiskerLayer {
  return interval.kind === 'bounded'
    ? { kind: 'whisker', x, lower: interval.lower, upper: interval.upper, tone: 'answer' }
    : { kind: 'whisker', x, lower: null, upper: null, tone: 'quiet' };
}

function shareRange(years: readonly YearShare[]): readonly [number, number] {
  const values = years.flatMap(({ estimate, interval }) =>
    interval.kind === 'bounded' ? [estimate, interval.lower, interval.upper] : [estimate],
  );
  const [low, high] = paddedRange([...values, 0.4, 1.1], 0.05);
  return [Math.max(low, WIDEST_RANGE[0]), Math.min(high, WIDEST_RANGE[1])];
}
