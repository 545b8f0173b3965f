import type uPlot from 'uplot';
import {
  corners,
  type BandLayer,
  type BarLayer,
  type ChartModel,
  type LabelLayer,
  type Layer,
  type LineLayer,
  type RuleLayer,
  type SpanLayer,
  type WhiskerLayer,
} from './chart-model';
import { SHAPES, type ShapeName, type Tone } from './shapes';

/** Where a value of the data lies on the canvas, and in which colour a tone is drawn. */
interface Brush {
  readonly context: CanvasRenderingContext2D;
  readonly px: (x: number) => number;
  readonly py: (y: number) => number;
  readonly colour: (tone: Tone) => string;
  readonly font: string;
  /** The colour behind the chart. */
  readonly background: string;
  /** Canvas pixels in one CSS pixel. */
  readonly scale: number;
  readonly box: {
    readonly left: number;
    readonly top: number;
    readonly right: number;
    readonly bottom: number;
  };
}

/** Draw a model's layers inside the plotting area of a uPlot chart. */
export function drawLayers(
  chart: uPlot,
  model: ChartModel,
  { colour, font, background }: Pick<Brush, 'colour' | 'font' | 'background'>,
): void {
  const { context, box, scale } = brushSpace(chart);
  const brush: Brush = {
    context,
    box,
    scale,
    colour,
    font,
    background,
    px: (x) => chart.valToPos(x, 'x', true),
    py: (y) => chart.valToPos(y, 'y', true),
  };
  context.save();
  context.beginPath();
  context.rect(box.left, box.top, box.right - box.left, box.bottom - box.top);
  context.clip();
  for (const layer of model.layers) drawLayer(brush, layer);
  context.restore();
}

function brushSpace(chart: uPlot): Pick<Brush, 'context' | 'box' | 'scale'> {
  const { left, top, width, height } = chart.bbox;
  return {
    context: chart.ctx,
    box: { left, top, right: left + width, bottom: top + height },
    scale: window.devicePixelRatio || 1,
  };
}

function drawLayer(brush: Brush, layer: Layer): void {
  switch (layer.kind) {
    case 'band':
      return drawBand(brush, layer);
    case 'line':
      return drawLine(brush, layer);
    case 'whisker':
      return drawWhisker(brush, layer);
    case 'mark':
      return drawShape(brush, layer.shape, brush.px(layer.x), brush.py(layer.y), layer.tone);
    case 'span':
      return drawSpan(brush, layer);
    case 'rule':
      return drawRule(brush, layer);
    case 'bar':
      return drawBar(brush, layer);
    case 'label':
      return drawLabel(brush, layer);
  }
}

function drawBand(brush: Brush, layer: BandLayer): void {
  const stepped = layer.stepped === true;
  const outline = [
    ...corners(layer.x, layer.upper, stepped),
    ...corners(layer.x, layer.lower, stepped).reverse(),
  ];
  tracePath(brush, outline);
  brush.context.fillStyle = brush.colour(layer.tone);
  brush.context.fill();
}

function drawLine(brush: Brush, layer: LineLayer): void {
  tracePath(brush, corners(layer.x, layer.y, layer.stepped === true));
  stroke(brush, layer.tone, layer.width ?? 2, layer.dash);
}

function tracePath({ context, px, py }: Brush, points: readonly [number, number][]): void {
  context.beginPath();
  for (const [x, y] of points) context.lineTo(px(x), py(y));
}

function stroke(
  { context, colour, scale }: Brush,
  tone: Tone,
  width: number,
  dash: readonly number[] = [],
): void {
  context.strokeStyle = colour(tone);
  context.lineWidth = width * scale;
  context.lineJoin = 'round';
  context.setLineDash(dash.map((length) => length * scale));
  context.stroke();
  context.setLineDash([]);
}

function drawWhisker(brush: Brush, { x, lower, upper, tone }: WhiskerLayer): void {
  const { context, box, px, py, scale } = brush;
  const at = px(x);
  const half = 5 * scale;
  const bottom = lower === null ? box.bottom : py(lower);
  const top = upper === null ? box.top : py(upper);
  context.beginPath();
  context.moveTo(at, bottom);
  context.lineTo(at, top);
  drawWhiskerEnd(context, at, bottom, half, lower === null || bottom > box.bottom ? box.bottom : null, -1);
  drawWhiskerEnd(context, at, top, half, upper === null || top < box.top ? box.top : null, 1);
  stroke(brush, tone, 1.75);
}

/** A bar across a known limit; an arrow head at the edge of the chart for one that lies beyond it. */
function drawWhiskerEnd(
  context: CanvasRenderingContext2D,
  at: number,
  end: number,
  half: number,
  edge: number | null,
  inward: 1 | -1,
): void {
  if (edge === null) {
    context.moveTo(at - half, end);
    context.lineTo(at + half, end);
    return;
  }
  context.moveTo(at - half, edge + inward * half * 1.4);
  context.lineTo(at, edge + inward);
  context.lineTo(at + half, edge + inward * half * 1.4);
}

function drawShape(brush: Brush, shape: ShapeName, x: number, y: number, tone: Tone): void {
  const { context, colour, scale } = brush;
  const { outline, filled } = SHAPES[shape];
  const path = new Path2D(outline);
  context.save();
  context.translate(x - 8 * scale, y - 8 * scale);
  context.scale(scale, scale);
  context.lineWidth = 2;
  context.strokeStyle = colour(tone);
  context.fillStyle = colour(tone);
  if (filled) context.fill(path);
  context.stroke(path);
  context.restore();
}

function drawSpan(brush: Brush, { from, to, tone, label }: SpanLayer): void {
  const { context, box, px, colour } = brush;
  context.fillStyle = colour(tone);
  context.fillRect(px(from), box.top, px(to) - px(from), box.bottom - box.top);
  if (label !== undefined) writeLabel(brush, label, px(from), box.top);
}

function drawRule(brush: Brush, { at, tone, dash }: RuleLayer): void {
  const { context, box, py } = brush;
  context.beginPath();
  context.moveTo(box.left, py(at));
  context.lineTo(box.right, py(at));
  stroke(brush, tone, 1.25, dash);
}

function writeLabel({ context, colour, font, scale }: Brush, text: string, x: number, y: number): void {
  context.font = font;
  context.fillStyle = colour('quiet');
  context.textAlign = 'left';
  context.textBaseline = 'top';
  context.fillText(text, x + 5 * scale, y + 4 * scale);
}

function drawLabel(
  { context, background, colour, font, px, py, scale }: Brush,
  { x, y, text, tone }: LabelLayer,
): void {
  context.font = font;
  context.fillStyle = colour(tone);
  context.textAlign = 'right';
  context.textBaseline = 'bottom';
  /* A rim of the background keeps the words legible where they cross a line. */
  context.strokeStyle = background;
  context.lineWidth = 4 * scale;
  context.lineJoin = 'round';
  context.strokeText(text, px(x), py(y) - 10 * scale);
  context.fillText(text, px(x), py(y) - 10 * scale);
}

function drawBar(brush: Brush, { x, width, from, to, tone, texture }: BarLayer): void {
  const { context, px, py, colour } = brush;
  const left = px(x - width / 2);
  const right = px(x + width / 2);
  // A bar may hang below its base as well as stand on it.
  const top = Math.min(py(from), py(to));
  const height = Math.abs(py(from) - py(to));
  if (height === 0) return;
  context.beginPath();
  context.rect(left, top, right - left, height);
  if (texture === 'solid') {
    context.fillStyle = colour(tone);
    context.fill();
  }
  if (texture === 'hatched') drawHatching(brush, left, right, top, height, tone);
  context.beginPath();
  context.rect(left, top, right - left, height);
  stroke(brush, tone, 1.25);
}

function drawHatching(
  brush: Brush,
  left: number,
  right: number,
  top: number,
  height: number,
  tone: Tone,
): void {
  const { context, scale } = brush;
  const gap = 6 * scale;
  context.save();
  context.clip();
  context.beginPath();
  for (let x = left - height; x < right; x += gap) {
    context.moveTo(x, top + height);
    context.lineTo(x + height, top);
  }
  stroke(brush, tone, 1.25);
  context.restore();
}
