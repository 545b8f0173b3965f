import type { BarLayer, ChartModel, KeyEntry, Layer, LineLayer } from './chart-model';
import { SHAPES, type ShapeName, type Tone } from './shapes';

/** What stands around a saved figure, so that it can be read without the page it comes from. */
export interface FigureWords {
  readonly title: string;
  /** One line below the figure: question, records, program and version. */
  readonly note: string;
}

const WIDTH = 760;
const PLOT_HEIGHT = 340;
const LEFT = 78;
const RIGHT = 22;
const FONT = 13;
const FONTS = "system-ui, 'Segoe UI', 'Helvetica Neue', Arial, sans-serif";

/** Dark on white, in lightnesses that stay apart in grey; dashes and signs tell the rest. */
const PRINT: Readonly<Record<Tone, string>> = {
  ink: '#1d1a22',
  quiet: '#6b6674',
  grid: '#e2e0e6',
  expected: '#4d6070',
  band: '#dfe5ea',
  answer: '#4a2350',
  'answer-band': '#e4dbe6',
  compare: '#8a6a1c',
  phase: '#f1ead9',
  held: '#17684f',
  lost: '#a4381f',
  doubt: '#795900',
  none: '#6b6674',
  again: '#3c4190',
  cursor: '#b3550a',
};

/** Where a value lies on the drawing. */
interface Frame {
  readonly px: (x: number) => number;
  readonly py: (y: number) => number;
  readonly top: number;
  readonly bottom: number;
}

/**
 * A figure as SVG text: the same model as on the screen, drawn as vectors for print, with title, key and a line that
 * says where it comes from. The same model gives the same text.
 */
export function chartSvg(model: ChartModel, { title, note }: FigureWords): string {
  const titleLines = wrap(title, 96);
  const top = 22 + titleLines.length * 18 + 22;
  const bottom = top + PLOT_HEIGHT;
  const frame = frameOf(model, top, bottom);
  const clip = `plot-${checksum(title)}`;
  const under = model.under === null ? 0 : 40;
  const keyTop = bottom + 58 + under;
  const keyHeight = model.key.length * 20;
  const noteLines = wrap(note, 112);
  const height = keyTop + keyHeight + 14 + noteLines.length * 15 + 12;
  return [
    `<svg xmlns="http://www.w3.org/2000/svg" role="img" width="${WIDTH}" height="${height}" viewBox="0 0 ${WIDTH} ${height}" font-family="${FONTS}" font-size="${FONT}" fill="${PRINT.ink}">`,
    `<title>${escape(title)}</title>`,
    `<desc>${escape(model.points.map(({ text }) => text).join(' '))}</desc>`,
    `<rect width="${WIDTH}" height="${height}" fill="#ffffff"/>`,
    ...titleLines.map((line, i) => text(8, 24 + i * 18, line, 'start', 'font-weight="600" font-size="15"')),
    text(8, top - 10, model.y.label, 'start'),
    ...axes(model, frame),
    `<clipPath id="${clip}"><rect x="${LEFT}" y="${top - 6}" width="${WIDTH - LEFT - RIGHT}" height="${PLOT_HEIGHT + 6}"/></clipPath>`,
    `<g clip-path="url(#${clip})">`,
    ...model.layers.map((layer) => layerSvg(layer, frame)),
    '</g>',
    text((LEFT + WIDTH - RIGHT) / 2, bottom + 42, model.x.label, 'middle'),
    ...underRow(model, frame, bottom + 66),
    ...model.key.map((entry, i) => keySvg(entry, 12, keyTop + i * 20)),
    ...noteLines.map((line, i) =>
      text(8, keyTop + keyHeight + 20 + i * 15, line, 'start', `font-size="11" fill="${PRINT.quiet}"`),
    ),
    '</svg>',
  ].join('\n');
}

/** A number that differs between the titles of one page, so that figures beside each other keep their own clips. */
function checksum(words: string): number {
  return [...words].reduce((sum, letter) => (sum * 31 + (letter.codePointAt(0) ?? 0)) % 2_147_483_647, 7);
}

function frameOf({ x, y }: ChartModel, top: number, bottom: number): Frame {
  const [left, right] = x.range;
  const [low, high] = y.range;
  return {
    px: (value) => LEFT + ((value - left) / (right - left)) * (WIDTH - LEFT - RIGHT),
    py: (value) => bottom - ((value - low) / (high - low)) * (bottom - top),
    top,
    bottom,
  };
}

function axes({ x, y }: ChartModel, { px, py, bottom }: Frame): string[] {
  const xTicks = x.ticks ?? niceTicks(x.range);
  const yTicks = y.ticks ?? niceTicks(y.range);
  return [
    ...yTicks.flatMap((value) => [
      `<path d="M${LEFT} ${n(py(value))}H${WIDTH - RIGHT}" stroke="${PRINT.grid}"/>`,
      text(LEFT - 8, py(value) + 4, y.write(value), 'end'),
    ]),
    `<path d="M${LEFT} ${bottom}H${WIDTH - RIGHT}" stroke="${PRINT.ink}"/>`,
    ...xTicks.flatMap((value) =>
      wrap(x.write(value), 20).map((line, i) => text(px(value), bottom + 18 + i * 14, line, 'middle')),
    ),
  ];
}

/** Round values inside a range, four to eight of them. */
function niceTicks([low, high]: readonly [number, number]): number[] {
  const rough = (high - low) / 5;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((factor) => factor * power).find((candidate) => candidate >= rough) ?? rough;
  const first = Math.ceil(low / step);
  const last = Math.floor(high / step);
  return Array.from({ length: last - first + 1 }, (_, i) => Number(((first + i) * step).toPrecision(12)));
}

function underRow({ under }: ChartModel, { px }: Frame, y: number): string[] {
  if (under === null) return [];
  return [
    text(8, y, under.label, 'start', `fill="${PRINT.quiet}"`),
    ...[...under.at].map(([at, label]) => text(px(at), y + 18, label, 'middle')),
  ];
}

function layerSvg(layer: Layer, frame: Frame): string {
  const { px, py, top, bottom } = frame;
  switch (layer.kind) {
    case 'band': {
      const stepped = layer.stepped === true;
      const upper = corners(layer.x, layer.upper, stepped);
      const lower = corners(layer.x, layer.lower, stepped).reverse();
      return `<path d="${path([...upper, ...lower], frame)}Z" fill="${PRINT[layer.tone]}"/>`;
    }
    case 'line':
      return lineSvg(layer, frame);
    case 'whisker': {
      const [from, to] = [
        layer.lower === null ? bottom : py(layer.lower),
        layer.upper === null ? top : py(layer.upper),
      ];
      const x = n(px(layer.x));
      return `<path d="M${x} ${n(from)}V${n(to)}" stroke="${PRINT[layer.tone]}" stroke-width="2"${layer.lower === null ? ' stroke-dasharray="2 3"' : ''}/>`;
    }
    case 'mark':
      return markSvg(layer.shape, px(layer.x), py(layer.y), layer.tone);
    case 'span': {
      const from = px(layer.from);
      return `<rect x="${n(from)}" y="${top}" width="${n(px(layer.to) - from)}" height="${bottom - top}" fill="${PRINT[layer.tone]}"/>`;
    }
    case 'rule':
      return `<path d="M${LEFT} ${n(py(layer.at))}H${WIDTH - RIGHT}" stroke="${PRINT[layer.tone]}"${dashed(layer.dash)}/>`;
    case 'bar':
      return barSvg(layer, frame);
  }
}

function lineSvg(layer: LineLayer, frame: Frame): string {
  const points = corners(layer.x, layer.y, layer.stepped === true);
  return `<path d="${path(points, frame)}" fill="none" stroke="${PRINT[layer.tone]}" stroke-width="${layer.width ?? 2}"${dashed(layer.dash)}/>`;
}

function barSvg({ x, width, from, to, tone, texture }: BarLayer, { px, py }: Frame): string {
  const left = px(x - width / 2);
  const upper = Math.min(py(from), py(to));
  const box = `x="${n(left)}" y="${n(upper)}" width="${n(px(x + width / 2) - left)}" height="${n(Math.abs(py(from) - py(to)))}"`;
  const opacity = texture === 'solid' ? 1 : texture === 'hatched' ? 0.45 : 0;
  return `<rect ${box} fill="${PRINT[tone]}" fill-opacity="${opacity}" stroke="${PRINT[tone]}" stroke-width="1.5"${texture === 'hatched' ? ' stroke-dasharray="4 2"' : ''}/>`;
}

function markSvg(shape: ShapeName, x: number, y: number, tone: Tone): string {
  const { outline, filled } = SHAPES[shape];
  const fill = filled ? PRINT[tone] : '#ffffff';
  return `<path d="${outline}" transform="translate(${n(x - 8)} ${n(y - 8)})" fill="${shape === 'cross' ? 'none' : fill}" stroke="${PRINT[tone]}" stroke-width="1.6"/>`;
}

function keySvg(entry: KeyEntry, x: number, y: number): string {
  const colour = PRINT[entry.tone];
  const label = text(x + 40, y + 12, entry.label, 'start');
  switch (entry.kind) {
    case 'line':
      return `<path d="M${x} ${y + 8}h28" stroke="${colour}" stroke-width="2.5"${dashed(entry.dash)}/>${label}`;
    case 'band':
      return `<rect x="${x}" y="${y + 1}" width="28" height="14" fill="${colour}"/>${label}`;
    case 'mark':
      return `${markSvg(entry.shape, x + 14, y + 8, entry.tone)}${label}`;
    case 'bar': {
      const opacity = entry.texture === 'solid' ? 1 : entry.texture === 'hatched' ? 0.45 : 0;
      return `<rect x="${x}" y="${y + 1}" width="28" height="14" fill="${colour}" fill-opacity="${opacity}" stroke="${colour}"${entry.texture === 'hatched' ? ' stroke-dasharray="4 2"' : ''}/>${label}`;
    }
  }
}

/** The corners of a line; a stepped one keeps its value until the next x. */
function corners(x: readonly number[], y: readonly number[], stepped: boolean): [number, number][] {
  return x.flatMap((at, i): [number, number][] => {
    const before = y[i - 1];
    const own: [number, number] = [at, y[i] ?? before ?? 0];
    return stepped && before !== undefined ? [[at, before], own] : [own];
  });
}

function path(points: readonly (readonly [number, number])[], { px, py }: Frame): string {
  return points.map(([x, y], i) => `${i === 0 ? 'M' : 'L'}${n(px(x))} ${n(py(y))}`).join('');
}

function dashed(dash: readonly number[] | undefined): string {
  return dash === undefined ? '' : ` stroke-dasharray="${dash.join(' ')}"`;
}

function text(x: number, y: number, words: string, anchor: 'start' | 'middle' | 'end', more = ''): string {
  return `<text x="${n(x)}" y="${n(y)}" text-anchor="${anchor}"${more === '' ? '' : ` ${more}`}>${escape(words)}</text>`;
}

function n(value: number): string {
  return String(Number(value.toFixed(2)));
}

function escape(words: string): string {
  return words.replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('>', '&gt;');
}

/** Words in lines of at most so many characters. */
function wrap(words: string, most: number): string[] {
  const lines: string[] = [];
  for (const word of words.split(' ')) {
    const last = lines[lines.length - 1];
    if (last !== undefined && last.length + 1 + word.length <= most)
      lines[lines.length - 1] = `${last} ${word}`;
    else lines.push(word);
  }
  return lines;
}
