import {
  corners,
  type BarLayer,
  type Layer,
  type LineLayer,
  type Texture,
  type WhiskerLayer,
} from './chart-model';
import { SHAPES, type ShapeName, type Tone } from './shapes';

/** Where a value lies on the drawing, and the edges of its plotting area. */
export interface Frame {
  readonly px: (x: number) => number;
  readonly py: (y: number) => number;
  readonly left: number;
  readonly right: number;
  readonly top: number;
  readonly bottom: number;
}

/** Dark on white, in lightnesses that stay apart in grey; dashes and signs tell the rest. */
export const PRINT: Readonly<Record<Tone, string>> = {
  ink: '#1d1a22',
  quiet: '#6b6674',
  grid: '#e2e0e6',
  expected: '#4d6070',
  band: '#5b7186',
  answer: '#4a2350',
  'answer-band': '#6a3770',
  compare: '#8a6a1c',
  phase: '#a87a14',
  held: '#17684f',
  lost: '#a4381f',
  doubt: '#795900',
  none: '#6b6674',
  again: '#3c4190',
  cursor: '#b3550a',
};

/** Areas let what lies under them through, so that overlapping intervals both stay visible. */
const OPACITY: Partial<Record<Tone, number>> = { band: 0.2, 'answer-band': 0.16, phase: 0.42 };

/** Half the length of the stroke across the end of an interval. */
const CAP = 5;

/** How an area of a tone is filled. */
export function paint(tone: Tone): string {
  const opacity = OPACITY[tone];
  return `fill="${PRINT[tone]}"${opacity === undefined ? '' : ` fill-opacity="${opacity}"`}`;
}

/** How a bar of a tone and texture is filled and bordered; hatched ones need `hatchings` in the drawing. */
export function barPaint(tone: Tone, texture: Texture): string {
  const fill = { solid: PRINT[tone], hatched: `url(#hatched-${tone})`, open: '#ffffff' }[texture];
  return `fill="${fill}" stroke="${PRINT[tone]}" stroke-width="1.25"`;
}

/** The patterns for hatched bars of these tones. */
export function hatchings(tones: Iterable<Tone>): string {
  return [...new Set(tones)]
    .map(
      (tone) =>
        `<pattern id="hatched-${tone}" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="6" height="6" fill="#ffffff"/><path d="M0 0V6" stroke="${PRINT[tone]}" stroke-width="2.5"/></pattern>`,
    )
    .join('');
}

/** A layer of a chart as SVG elements. */
export function layerSvg(layer: Layer, frame: Frame): string {
  const { px, py, top, bottom, left, right } = frame;
  switch (layer.kind) {
    case 'band': {
      const stepped = layer.stepped === true;
      const upper = corners(layer.x, layer.upper, stepped);
      const lower = corners(layer.x, layer.lower, stepped).reverse();
      return `<path d="${path([...upper, ...lower], frame)}Z" ${paint(layer.tone)}/>`;
    }
    case 'line':
      return lineSvg(layer, frame);
    case 'whisker':
      return whiskerSvg(layer, frame);
    case 'mark':
      return markSvg(layer.shape, px(layer.x), py(layer.y), layer.tone);
    case 'span': {
      const from = px(layer.from);
      const name = layer.label === undefined ? '' : svgText(from + 5, top + 14, layer.label, 'start');
      return `<rect x="${round(from)}" y="${top}" width="${round(px(layer.to) - from)}" height="${bottom - top}" ${paint(layer.tone)}/>${name}`;
    }
    case 'rule':
      return `<path d="M${left} ${round(py(layer.at))}H${right}" stroke="${PRINT[layer.tone]}"${dashed(layer.dash)}/>`;
    case 'bar':
      return barSvg(layer, frame);
    case 'label':
      return svgText(
        px(layer.x),
        py(layer.y) - 12,
        layer.text,
        'end',
        `fill="${PRINT[layer.tone]}" stroke="#ffffff" stroke-width="4" paint-order="stroke"`,
      );
  }
}

function lineSvg(layer: LineLayer, frame: Frame): string {
  const points = corners(layer.x, layer.y, layer.stepped === true);
  return `<path d="${path(points, frame)}" fill="none" stroke="${PRINT[layer.tone]}" stroke-width="${layer.width ?? 2}"${dashed(layer.dash)}/>`;
}

/** An interval: a stroke across a known end, an arrow head at the edge for one that is open or lies beyond it. */
function whiskerSvg({ x, lower, upper, tone }: WhiskerLayer, { px, py, top, bottom }: Frame): string {
  const at = round(px(x));
  const below = lower === null || py(lower) > bottom;
  const above = upper === null || py(upper) < top;
  const from = below ? bottom : round(py(lower));
  const to = above ? top : round(py(upper));
  const end = (height: number, open: boolean, inward: 1 | -1): string =>
    open
      ? `M${at - CAP} ${height + inward * CAP * 1.4}L${at} ${height + inward}L${at + CAP} ${height + inward * CAP * 1.4}`
      : `M${at - CAP} ${height}h${2 * CAP}`;
  return `<path d="M${at} ${from}V${to}${end(from, below, -1)}${end(to, above, 1)}" fill="none" stroke="${PRINT[tone]}" stroke-width="1.75"/>`;
}

function barSvg({ x, width, from, to, tone, texture }: BarLayer, { px, py }: Frame): string {
  const left = px(x - width / 2);
  const upper = Math.min(py(from), py(to));
  const box = `x="${round(left)}" y="${round(upper)}" width="${round(px(x + width / 2) - left)}" height="${round(Math.abs(py(from) - py(to)))}"`;
  return `<rect ${box} ${barPaint(tone, texture)}/>`;
}

/** A sign around a place of the drawing. */
export function markSvg(shape: ShapeName, x: number, y: number, tone: Tone): string {
  const { outline, filled } = SHAPES[shape];
  const fill = filled ? PRINT[tone] : '#ffffff';
  return `<path d="${outline}" transform="translate(${round(x - 8)} ${round(y - 8)})" fill="${shape === 'cross' ? 'none' : fill}" stroke="${PRINT[tone]}" stroke-width="1.6"/>`;
}

function path(points: readonly (readonly [number, number])[], { px, py }: Frame): string {
  return points.map(([x, y], i) => `${i === 0 ? 'M' : 'L'}${round(px(x))} ${round(py(y))}`).join('');
}

/** The attribute that dashes a line; none for a solid one. */
export function dashed(dash: readonly number[] | undefined): string {
  return dash === undefined || dash.length === 0 ? '' : ` stroke-dasharray="${dash.join(' ')}"`;
}

/** Words at a place. */
export function svgText(
  x: number,
  y: number,
  words: string,
  anchor: 'start' | 'middle' | 'end',
  more = '',
): string {
  return `<text x="${round(x)}" y="${round(y)}" text-anchor="${anchor}"${more === '' ? '' : ` ${more}`}>${escapeText(words)}</text>`;
}

/** Hundredths of a unit are finer than any printer. */
export function round(value: number): number {
  return Number(value.toFixed(2));
}

/** Words as they may stand between tags. */
export function escapeText(words: string): string {
  return words.replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('>', '&gt;');
}
