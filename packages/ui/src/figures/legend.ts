import { FONT_SIZE, svgElement } from './figure';

/** One entry of a legend: a short piece of the line or area, and what it stands for. */
export interface LegendEntry {
  readonly text: string;
  readonly sample: {
    readonly kind: 'line' | 'box';
    readonly attributes: Readonly<Record<string, string | number>>;
  };
}

const SAMPLE_WIDTH = 28;
const ROW_HEIGHT = 18;

/** Height that a legend in two columns takes up, in pixels. */
export function legendHeight(entries: readonly LegendEntry[]): number {
  return Math.ceil(entries.length / 2) * ROW_HEIGHT + 8;
}

/** A legend in two columns of equal width, to be put into the top margin of a figure. */
export function legend(
  document: Document,
  entries: readonly LegendEntry[],
  left: number,
  width: number,
): SVGElement {
  const group = svgElement(document, 'g', { 'text-anchor': 'start', 'font-size': FONT_SIZE - 1 });
  entries.forEach((entry, index) => {
    const x = left + (index % 2) * (width / 2);
    const y = 10 + Math.floor(index / 2) * ROW_HEIGHT;
    const text = svgElement(document, 'text', { x: x + SAMPLE_WIDTH + 8, y, dy: '0.32em' });
    text.textContent = entry.text;
    group.append(sampleOf(document, entry, x, y), text);
  });
  return group;
}

function sampleOf(document: Document, { sample }: LegendEntry, x: number, y: number): SVGElement {
  return sample.kind === 'line'
    ? svgElement(document, 'line', { x1: x, x2: x + SAMPLE_WIDTH, y1: y, y2: y, ...sample.attributes })
    : svgElement(document, 'rect', { x, y: y - 6, width: SAMPLE_WIDTH, height: 12, ...sample.attributes });
}
