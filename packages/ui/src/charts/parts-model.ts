import type { PartMean, SplitAnswer, SplitSpan } from '@longhold/core/answers';
import { formatChange, formatLimits, formatNoun } from '../format';
import { paddedRange, type ChartModel, type Layer, type Texture } from './chart-model';

/** The spans of time of a split, as they are written. */
export const SPAN_WORDS: Readonly<Record<SplitSpan, string>> = {
  treatment: 'During active treatment',
  since: 'Since its end',
  whole: 'From the start on',
};

/** Names short enough to stand under an axis. */
const SHORT: Readonly<Record<string, string>> = {
  'Overjet corrected': 'All',
  'Molar relation corrected': 'All',
  'Chin forward': 'All',
  'Upper jaw back': 'Upper jaw',
  'Lower jaw forward': 'Lower jaw',
  'Upper teeth back in their jaw': 'Upper teeth',
  'Lower teeth forward in their jaw': 'Lower teeth',
  'Lower jaw longer': 'Length',
  'Lower jaw turned forward': 'Turn',
  'Condyle forward': 'Condyle',
};

const TEXTURES: Readonly<Record<SplitSpan, Texture>> = {
  treatment: 'solid',
  since: 'hatched',
  whole: 'open',
};
const BAR_WIDTH = 0.26;

/** Mean parts of a correction side by side, one bar for each span of time, with intervals. */
export function partsModel(splits: readonly SplitAnswer[], yLabel: string): ChartModel {
  const shown = splits.filter(({ whole }) => whole !== null);
  const names = partsOf(shown[0]).map(({ name }) => name);
  const values = shown.flatMap((split) =>
    partsOf(split).flatMap(({ mean, limits }) => [mean, limits?.lower ?? mean, limits?.upper ?? mean]),
  );
  return {
    x: {
      label: '',
      range: [-0.6, Math.max(1, names.length) - 0.4],
      write: (value) => SHORT[names[value] ?? ''] ?? names[value] ?? '',
      ticks: names.map((_, i) => i),
    },
    y: {
      label: yLabel,
      range: paddedRange([0, ...values], 0.08),
      write: (value) => formatChange(value, 'mm'),
    },
    layers: [
      ...shown.flatMap((split, i) => barsOf(split, i, shown.length)),
      { kind: 'rule', at: 0, tone: 'ink' },
    ],
    under: null,
    points: names.map((name, place) => ({
      x: place,
      text: `${name}: ${shown.map((split) => describePart(split, place)).join('; ')}.`,
    })),
    key: shown.map(({ span, n }) => ({
      kind: 'bar',
      tone: span === 'since' ? 'compare' : 'answer',
      texture: TEXTURES[span],
      label: `${SPAN_WORDS[span]} (${formatNoun(n, 'patient')})`,
    })),
  };
}

/** The whole and its parts. */
function partsOf(split: SplitAnswer | undefined): PartMean[] {
  return split?.whole == null ? [] : [split.whole, ...split.parts];
}

function barsOf(split: SplitAnswer, i: number, spans: number): Layer[] {
  return partsOf(split).flatMap(({ mean, limits }, place): Layer[] => {
    const x = place + (i - (spans - 1) / 2) * (BAR_WIDTH + 0.02);
    const tone = split.span === 'since' ? 'compare' : 'answer';
    const bar: Layer = {
      kind: 'bar',
      x,
      width: BAR_WIDTH,
      from: 0,
      to: mean,
      tone,
      texture: TEXTURES[split.span],
    };
    return limits === null ? [bar] : [bar, { kind: 'whisker', x, ...limits, tone: 'ink' }];
  });
}

function describePart(split: SplitAnswer, place: number): string {
  const part = partsOf(split)[place];
  if (part === undefined) return '';
  const write = (value: number): string => formatChange(value, 'mm');
  const limits = part.limits === null ? '' : ` (${formatLimits(part.limits, write)})`;
  return `${SPAN_WORDS[split.span].toLowerCase()} ${write(part.mean)}${limits}, ${formatNoun(split.n, 'patient')}`;
}
