import { niceTicks } from '../charts/chart-svg';
import type { Tone } from '../charts/shapes';
import { round } from '../charts/svg-layers';
import type { ForestModel, ForestModelRow } from './forest-model';

/** A piece of the drawing in pixels; the screen and the saved figure paint the same pieces in their own colours. */
export type ForestPiece =
  | {
      readonly kind: 'path';
      readonly d: string;
      readonly tone: Tone;
      readonly filled: boolean;
      readonly width: number;
      readonly dash?: string;
    }
  | {
      readonly kind: 'words';
      readonly x: number;
      readonly y: number;
      readonly words: string;
      readonly anchor: 'start' | 'middle' | 'end';
      readonly tone: Tone;
      readonly bold: boolean;
    };

/** A forest plot laid out for one width. */
export interface ForestDrawing {
  readonly width: number;
  readonly height: number;
  readonly pieces: readonly ForestPiece[];
  /** Where each row begins and ends, in order. */
  readonly rows: readonly { readonly top: number; readonly bottom: number }[];
}

/** About how wide a sign of a bold result is; so results keep clear of the intervals. */
const SIGN_WIDTH = 6.9;
/** Below this width names and results stand over their line rather than beside it. */
const NARROW = 640;
const HEADING = 26;
const AXIS = 46;
/** Half the height of the stroke across the end of an interval. */
const CAP = 4;

const TONES: Readonly<Record<ForestModelRow['kind'], Tone>> = {
  centre: 'expected',
  own: 'compare',
  mean: 'answer',
  prediction: 'answer',
  series: 'ink',
  without: 'quiet',
};

/** Lays a forest plot out: names and patients at the left, intervals in the middle, results at the right. */
export function drawForest(model: ForestModel, width: number): ForestDrawing {
  const narrow = width < NARROW;
  const left = narrow ? 8 : Math.min(290, width * 0.34);
  const longest = Math.max(0, ...model.rows.map(({ result }) => result.length));
  const results = Math.max(Math.min(230, width * 0.28), Math.min(20 + SIGN_WIDTH * longest, width * 0.4));
  const right = width - (narrow ? 8 : results);
  const rowHeight = narrow ? 46 : 28;
  const [low, high] = model.axis.range;
  const px = (value: number): number => left + ((value - low) / (high - low)) * (right - left);
  const rows = model.rows.map((_, i) => ({
    top: HEADING + i * rowHeight,
    bottom: HEADING + (i + 1) * rowHeight,
  }));
  const bottom = HEADING + model.rows.length * rowHeight;
  const place: Place = { px, left, right, width, narrow, bottom };
  return {
    width,
    height: bottom + AXIS,
    rows,
    pieces: [
      ...axisPieces(model, place),
      ...headingPieces(model, place),
      ...model.rows.flatMap((row, i) => rowPieces(row, place, rows[i] ?? { top: 0, bottom: 0 })),
    ],
  };
}

interface Place {
  readonly px: (value: number) => number;
  readonly left: number;
  readonly right: number;
  readonly width: number;
  readonly narrow: boolean;
  readonly bottom: number;
}

function axisPieces({ axis, guide }: ForestModel, { px, left, right, bottom, narrow }: Place): ForestPiece[] {
  const [low, high] = axis.range;
  const all = niceTicks(axis.range);
  const ticks = narrow ? all.filter((_, i) => i % 2 === 0) : all;
  return [
    ...ticks.flatMap((value): ForestPiece[] => [
      path(`M${round(px(value))} ${HEADING}V${bottom}`, 'grid', 1),
      /* A label at the very edge of the drawing would be cut. */
      words(
        px(value),
        bottom + 17,
        axis.write(value),
        narrow && px(value) < left + 16 ? 'start' : 'middle',
        'quiet',
      ),
    ]),
    path(`M${left} ${bottom}H${round(right)}`, 'quiet', 1),
    ...(guide === null || guide < low || guide > high
      ? []
      : [{ ...path(`M${round(px(guide))} ${HEADING}V${bottom}`, 'answer', 1), dash: '4 4' } as const]),
    words((left + right) / 2, bottom + 37, axis.label, 'middle', 'quiet'),
  ];
}

function headingPieces({ headings }: ForestModel, { left, width, narrow }: Place): ForestPiece[] {
  const y = 15;
  return [
    words(4, y, headings.label, 'start', 'quiet'),
    ...(narrow ? [] : [words(left - 18, y, headings.patients, 'end', 'quiet')]),
    words(width - 4, y, headings.result, 'end', 'quiet'),
  ];
}

function rowPieces(
  row: ForestModelRow,
  { px, left, right, width, narrow }: Place,
  { top, bottom }: { readonly top: number; readonly bottom: number },
): ForestPiece[] {
  const bold = row.kind === 'mean' || row.kind === 'own';
  const middle = narrow ? bottom - 14 : (top + bottom) / 2;
  const base = narrow ? top + 16 : middle + 4;
  const label = narrow && row.patients !== '' ? `${row.label} (${row.patients})` : row.label;
  const inside = (value: number): boolean => px(value) >= left && px(value) <= right;
  return [
    words(4, base, label, 'start', 'ink', bold),
    ...(narrow ? [] : [words(left - 18, base, row.patients, 'end', 'ink', bold)]),
    words(width - 4, base, row.result, 'end', 'ink', bold),
    ...intervalPieces(row, middle, { px, left, right }),
    ...(row.estimate !== null && inside(row.estimate) ? markPieces(row, px(row.estimate), middle) : []),
  ];
}

/** A line from limit to limit; an arrow head at an edge that it runs beyond, or at an open end. */
function intervalPieces(
  { kind, estimate, lower, upper }: ForestModelRow,
  y: number,
  { px, left, right }: Pick<Place, 'px' | 'left' | 'right'>,
): ForestPiece[] {
  if (estimate === null && lower === null && upper === null) return [];
  const from = lower === null ? -Infinity : px(lower);
  const to = upper === null ? Infinity : px(upper);
  if (from > right || to < left) return [];
  const end = (at: number, outside: boolean, inward: 1 | -1): string =>
    outside
      ? `M${round(at + inward * CAP * 1.6)} ${y - CAP}L${round(at)} ${y}L${round(at + inward * CAP * 1.6)} ${y + CAP}`
      : `M${round(at)} ${y - CAP}V${y + CAP}`;
  const start = Math.max(from, left);
  const stop = Math.min(to, right);
  const line = `M${round(start)} ${y}H${round(stop)}${end(start, from < left, 1)}${end(stop, to > right, -1)}`;
  const drawn = path(line, TONES[kind], kind === 'mean' ? 2.5 : 1.75);
  return [kind === 'prediction' ? { ...drawn, dash: '6 3' } : drawn];
}

/** The sign at the estimate; a centre's grows with its weight, in area. */
function markPieces({ kind, weight }: ForestModelRow, x: number, y: number): ForestPiece[] {
  const tone = TONES[kind];
  switch (kind) {
    case 'centre':
    case 'without': {
      const half = weight === null ? 4 : 3 + 6 * Math.sqrt(Math.min(1, weight));
      const side = round(2 * half);
      return [
        {
          ...path(`M${round(x - half)} ${round(y - half)}h${side}v${side}h${-side}z`, tone, 1),
          filled: true,
        },
      ];
    }
    case 'own':
      return [
        { ...path(`M${round(x - 5.5)} ${y}a5.5 5.5 0 1 0 11 0a5.5 5.5 0 1 0 -11 0z`, tone, 1), filled: true },
      ];
    case 'mean':
    case 'series':
    case 'prediction': {
      const reach = 7;
      const outline = `M${round(x - reach)} ${y}l${reach} ${-reach}l${reach} ${reach}l${-reach} ${reach}z`;
      return [{ ...path(outline, tone, 1.75), filled: kind === 'mean' }];
    }
  }
}

function path(d: string, tone: Tone, width: number): Extract<ForestPiece, { kind: 'path' }> {
  return { kind: 'path', d, tone, width, filled: false };
}

function words(
  x: number,
  y: number,
  text: string,
  anchor: 'start' | 'middle' | 'end',
  tone: Tone,
  bold = false,
): ForestPiece {
  return { kind: 'words', x: round(x), y: round(y), words: text, anchor, tone, bold };
}
