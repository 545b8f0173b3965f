import uPlot from 'uplot';
import type { Attachment } from 'svelte/attachments';
import type { ChartModel } from './chart-model';
import { drawLayers } from './draw-layers';
import type { Tone } from './shapes';

/**
 * What a chart's owner hands over. Each field is read when it is needed, so that a moving cursor does not rebuild
 * the chart: pass getters.
 */
export interface ChartSource {
  readonly model: ChartModel;
  readonly height: number;
  /** Index of the point under the reading cursor; null when nothing is read. */
  readonly cursor: number | null;
  /** Called with the nearest point as the pointer moves over the chart, and with null when it leaves. */
  readonly onpoint: (index: number | null) => void;
}

/**
 * Keeps a uPlot chart inside an element: builds it from the model, rebuilds it when the model or the theme
 * changes, follows the element's width, moves the reading cursor, and takes it away with the element.
 */
export function chartHost(source: ChartSource): Attachment<HTMLElement> {
  return (element) => {
    let theme = $state(0);
    /* A chart can't be built in an element without width, such as one in a closed part of the page. */
    let shown = $state(element.clientWidth > 0);
    let chart: uPlot | null = null;
    const stopWatching = watchTheme(() => (theme += 1));
    const observer = new ResizeObserver(() => {
      shown = element.clientWidth > 0;
      if (shown) chart?.setSize({ width: element.clientWidth, height: source.height });
    });
    observer.observe(element);

    $effect(() => {
      void theme;
      const { model, height } = source;
      if (!shown) return undefined;
      const options = chartOptions(element, model, height, (index) => source.onpoint(index));
      const built = new uPlot(options, [[...model.x.range]], element);
      chart = built;
      $effect(() => placeCursor(built, source));
      return () => {
        chart = null;
        built.destroy();
      };
    });

    return () => {
      observer.disconnect();
      stopWatching();
    };
  };
}

function watchTheme(changed: () => void): () => void {
  const observer = new MutationObserver(changed);
  observer.observe(document.documentElement, { attributes: true, attributeFilter: ['data-theme'] });
  return () => observer.disconnect();
}

function placeCursor(chart: uPlot, { model, cursor }: ChartSource): void {
  const point = cursor === null ? undefined : model.points[cursor];
  const left = point === undefined ? -10 : chart.valToPos(point.x, 'x');
  chart.setCursor({ left, top: point === undefined ? -10 : 0 }, false);
}

function chartOptions(
  element: HTMLElement,
  model: ChartModel,
  height: number,
  onpoint: (index: number | null) => void,
): uPlot.Options {
  const style = getComputedStyle(element);
  const colour = (tone: Tone): string => style.getPropertyValue(`--chart-${tone}`).trim();
  const size = 12 * (parseFloat(getComputedStyle(document.documentElement).fontSize) / 16);
  const font = `${size}px ${style.fontFamily}`;
  const background = style.getPropertyValue('--sheet').trim();
  const canvasFont = `${size * (window.devicePixelRatio || 1)}px ${style.fontFamily}`;
  return {
    width: element.clientWidth,
    height,
    legend: { show: false },
    cursor: { y: false, drag: { x: false, y: false, setScale: false }, points: { show: false } },
    scales: {
      x: { time: false, range: () => [...model.x.range] },
      y: { range: () => [...model.y.range] },
    },
    series: [{}],
    axes: chartAxes(model, colour, font),
    hooks: {
      drawAxes: [(chart) => drawLayers(chart, model, { colour, font: canvasFont, background })],
      setCursor: [(chart) => onpoint(nearestPoint(chart, model))],
    },
  };
}

/** As wide as the longest label, so that it does not run into the axis' name. */
function yAxisWidth(labels: readonly string[] | null, font: string): number {
  const canvas = document.createElement('canvas').getContext('2d');
  if (canvas === null || labels === null) return 60;
  canvas.font = font;
  return Math.max(44, ...labels.map((label) => canvas.measureText(label).width + 18));
}

function chartAxes(model: ChartModel, colour: (tone: Tone) => string, font: string): uPlot.Axis[] {
  const look = { stroke: colour('quiet'), font, labelFont: font, labelSize: 20 };
  const grid = { stroke: colour('grid'), width: 1 };
  const { x, y, under } = model;
  const splits = x.ticks === undefined ? {} : { splits: () => [...(x.ticks ?? [])] };
  const axes: uPlot.Axis[] = [
    { ...look, ...splits, grid, ticks: grid, size: 34, label: x.label, values: (_, at) => at.map(x.write) },
    {
      ...look,
      ...(y.ticks === undefined ? {} : { splits: () => [...(y.ticks ?? [])] }),
      scale: 'y',
      grid,
      ticks: grid,
      size: (_, values) => yAxisWidth(values, font),
      label: y.label,
      values: (_, at) => at.map(y.write),
    },
  ];
  if (under !== null) {
    axes.push({
      ...look,
      ...splits,
      scale: 'x',
      side: 2,
      stroke: colour('ink'),
      grid: { show: false },
      ticks: { show: false },
      gap: 0,
      size: 26,
      label: under.label,
      values: (_, at) => at.map((value) => under.at.get(value) ?? ''),
    });
  }
  return axes;
}

function nearestPoint(chart: uPlot, model: ChartModel): number | null {
  const left = chart.cursor.left ?? -1;
  if (left < 0 || model.points.length === 0) return null;
  const at = chart.posToVal(left, 'x');
  return model.points.reduce(
    (best, point, index) =>
      Math.abs(point.x - at) < Math.abs((model.points[best]?.x ?? Infinity) - at) ? index : best,
    0,
  );
}
