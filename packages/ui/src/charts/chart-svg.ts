import type { ChartModel, KeyEntry } from './chart-model';
import {
  barPaint,
  dashed,
  escapeText,
  hatchings,
  layerSvg,
  markSvg,
  paint,
  PRINT,
  round,
  svgText as text,
  type Frame,
} from './svg-layers';
import type { Tone } from './shapes';

/** What stands around a saved figure, so that it can be read without the page it comes from. */
export interface FigureWords {
  readonly title: string;
  /** One line below the figure: question, records, program and version. */
  readonly note: string;
}

const WIDTH = 760;
const PLOT_HEIGHT = 340;
const LEFT = 88;
const RIGHT = 22;
const FONT = 13;
export const FONTS = "system-ui, 'Segoe UI', 'Helvetica Neue', Arial, sans-serif";

/**
 * A figure as SVG text: the same model as on the screen, drawn as vectors for print, with title, key and a line that
 * says where it comes from. The same model gives the same text.
 */
export function chartSvg(model: ChartModel, { title, note }: FigureWords): string {
  const titleLines = wrap(title, 78);
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
    `<title>${escapeText(title)}</title>`,
    `<desc>${escapeText(model.points.map(({ text }) => text).join(' '))}</desc>`,
    `<rect width="${WIDTH}" height="${height}" fill="#ffffff"/>`,
    ...titleLines.map((line, i) => text(8, 24 + i * 18, line, 'start', 'font-weight="600" font-size="15"')),
    text(8, top - 10, model.y.label, 'start'),
    ...axes(model, frame),
    `<defs>${hatchings(barTones(model))}</defs>`,
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

function barTones({ layers, key }: ChartModel): Tone[] {
  return [...layers, ...key].flatMap((part) => (part.kind === 'bar' ? [part.tone] : []));
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
    left: LEFT,
    right: WIDTH - RIGHT,
    top,
    bottom,
  };
}

function axes({ x, y }: ChartModel, { px, py, bottom }: Frame): string[] {
  const xTicks = x.ticks ?? niceTicks(x.range);
  const yTicks = y.ticks ?? niceTicks(y.range);
  return [
    ...yTicks.flatMap((value) => [
      `<path d="M${LEFT} ${round(py(value))}H${WIDTH - RIGHT}" stroke="${PRINT.grid}"/>`,
      text(LEFT - 8, py(value) + 4, y.write(value), 'end'),
    ]),
    `<path d="M${LEFT} ${bottom}H${WIDTH - RIGHT}" stroke="${PRINT.ink}"/>`,
    ...xTicks.flatMap((value) =>
      wrap(x.write(value), 20).map((line, i) => text(px(value), bottom + 18 + i * 14, line, 'middle')),
    ),
  ];
}

/** Round values inside a range, three to eight of them. */
export function niceTicks([low, high]: readonly [number, number]): number[] {
  const rough = (high - low) / 7;
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

/** One line of the key. */
export function keySvg(entry: KeyEntry, x: number, y: number): string {
  const colour = PRINT[entry.tone];
  const label = text(x + 40, y + 12, entry.label, 'start');
  switch (entry.kind) {
    case 'line':
      return `<path d="M${x} ${y + 8}h28" stroke="${colour}" stroke-width="2.5"${dashed(entry.dash)}/>${label}`;
    case 'band':
      return `<rect x="${x}" y="${y + 1}" width="28" height="14" ${paint(entry.tone)}/>${label}`;
    case 'mark': {
      const line =
        entry.dash === undefined
          ? ''
          : `<path d="M${x} ${y + 8}h28" stroke="${colour}" stroke-width="2"${dashed(entry.dash)}/>`;
      return `${line}${markSvg(entry.shape, x + 14, y + 8, entry.tone)}${label}`;
    }
    case 'bar':
      return `<rect x="${x}" y="${y + 1}" width="28" height="14" ${barPaint(entry.tone, entry.texture)}/>${label}`;
  }
}

/** Words in lines of at most so many characters. */
export function wrap(words: string, most: number): string[] {
  const lines: string[] = [];
  for (const word of words.split(' ')) {
    const last = lines[lines.length - 1];
    if (last !== undefined && last.length + 1 + word.length <= most)
      lines[lines.length - 1] = `${last} ${word}`;
    else lines.push(word);
  }
  return lines;
}
