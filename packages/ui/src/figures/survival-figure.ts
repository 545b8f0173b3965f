import { percentText, shareLimitsText, type SurvivalAnswer } from '@longhold/core/answers';
import * as Plot from '@observablehq/plot';
import { FIGURE_WIDTH, figureText, FONT_SIZE, INK } from './figure';
import { legend, legendHeight, type LegendEntry } from './legend';

const LEFT = 76;
const RIGHT = 24;

const ENTRIES: readonly LegendEntry[] = [
  {
    text: 'Interval-censored estimate',
    sample: { kind: 'line', attributes: { stroke: INK.line, 'stroke-width': 2.5 } },
  },
  {
    text: 'Time of loss lies somewhere in here',
    sample: { kind: 'box', attributes: { fill: INK.undefinedBox } },
  },
  {
    text: 'Conventional (Kaplan-Meier) estimate',
    sample: {
      kind: 'line',
      attributes: { stroke: INK.second, 'stroke-width': 1.5, 'stroke-dasharray': '5 4' },
    },
  },
  { text: 'Confidence limits', sample: { kind: 'box', attributes: { fill: INK.band } } },
];

/**
 * Survival of the gain: the interval-censored curve where it is defined, boxes where it is not, its limits, the
 * conventional curve, and the numbers at risk under the axis. SVG text; the same input gives the same text.
 * @param document any DOM document, the browser's own or a simulated one
 */
export function survivalFigure(document: Document, survival: SurvivalAnswer): string {
  const { flats, boxes, end } = traceCurve(survival);
  const top = legendHeight(ENTRIES) + 26;
  const plotted = Plot.plot({
    document,
    width: FIGURE_WIDTH,
    height: 380 + top,
    marginTop: top,
    marginLeft: LEFT,
    marginRight: RIGHT,
    marginBottom: 92,
    x: { domain: [0, end], label: null },
    y: { domain: [0, 1], label: null },
    marks: [
      Plot.areaY(band(survival, end), { x: 'time', y1: 'lower', y2: 'upper', fill: INK.band }),
      Plot.rect(boxes, { x1: 'left', x2: 'right', y1: 'after', y2: 'before', fill: INK.undefinedBox }),
      Plot.line(conventionalSteps(survival, end), {
        x: 'time',
        y: 'survival',
        curve: 'step-after',
        stroke: INK.second,
        strokeDasharray: '5 4',
      }),
      Plot.ruleY(flats, {
        x1: 'left',
        x2: 'right',
        y: 'survival',
        stroke: INK.line,
        strokeWidth: 2.5,
      }),
      Plot.axisX(wholeYears(end), { fontSize: FONT_SIZE, tickFormat: String, label: null }),
      Plot.axisY([0, 0.25, 0.5, 0.75, 1], { fontSize: FONT_SIZE, tickFormat: percentText, label: null }),
      Plot.text(['Years since the end of active treatment'], {
        frameAnchor: 'bottom',
        dy: 38,
        fontSize: FONT_SIZE,
      }),
      Plot.text(['Share of patients who still have the gain'], {
        frameAnchor: 'top-left',
        textAnchor: 'start',
        dx: -LEFT + 8,
        dy: -20,
        fontSize: FONT_SIZE,
      }),
      Plot.text(['At risk'], {
        frameAnchor: 'bottom-left',
        textAnchor: 'end',
        dx: -22,
        dy: 66,
        fontSize: FONT_SIZE,
      }),
      Plot.text(atRisk(survival), {
        x: 'year',
        text: 'count',
        frameAnchor: 'bottom',
        dy: 66,
        fontSize: FONT_SIZE,
      }),
    ],
  });
  plotted.append(legend(document, ENTRIES, 8, FIGURE_WIDTH - 16));
  return figureText(plotted, document, {
    title: 'Survival of the gain over the years since the end of active treatment',
    description: describe(survival),
  });
}

interface TracedCurve {
  readonly flats: readonly { readonly left: number; readonly right: number; readonly survival: number }[];
  /** Where the curve falls, but at what moment and by what path is not known. */
  readonly boxes: readonly {
    readonly left: number;
    readonly right: number;
    readonly before: number;
    readonly after: number;
  }[];
  /** The last time at which the curve is defined, years. */
  readonly end: number;
}

function traceCurve({ turnbull }: SurvivalAnswer): TracedCurve {
  const flats: { left: number; right: number; survival: number }[] = [];
  const boxes: { left: number; right: number; before: number; after: number }[] = [];
  let survival = 1;
  let end = 0;
  for (const { left, right, mass } of turnbull.intervals) {
    flats.push({ left: end, right: left, survival });
    if (!Number.isFinite(right)) return { flats, boxes, end: left };
    boxes.push({ left, right, before: survival, after: Math.max(0, survival - mass) });
    survival = Math.max(0, survival - mass);
    end = right;
  }
  return { flats, boxes, end };
}

/** Limits are read where the curve is defined or changes; inside a box the reading for a year is interpolated. */
function band({ turnbull }: SurvivalAnswer, end: number): { time: number; lower: number; upper: number }[] {
  const read = turnbull.atYears.flatMap(({ year, limits, undefinedWithin }) =>
    limits === null || undefinedWithin !== null ? [] : [{ time: year, ...limits }],
  );
  const known = [...turnbull.points, ...read]
    .filter(({ time }) => time <= end)
    .sort((a, b) => a.time - b.time);
  const last = known[known.length - 1];
  return last === undefined ? [] : [...known, { ...last, time: end }];
}

function conventionalSteps(
  { kaplanMeier }: SurvivalAnswer,
  end: number,
): { time: number; survival: number }[] {
  const steps = kaplanMeier.points.filter(({ time }) => time <= end);
  const last = steps[steps.length - 1]?.survival ?? 1;
  return [{ time: 0, survival: 1 }, ...steps, { time: end, survival: last }];
}

function atRisk({ patients, turnbull }: SurvivalAnswer): { year: number; count: string }[] {
  const read = turnbull.atYears.filter(({ atRisk: count }) => count > 0);
  return [
    { year: 0, count: String(patients) },
    ...read.map((at) => ({ year: at.year, count: String(at.atRisk) })),
  ];
}

function wholeYears(end: number): number[] {
  return Array.from({ length: Math.floor(end) + 1 }, (_, year) => year);
}

function describe(survival: SurvivalAnswer): string {
  const read = survival.turnbull.atYears.flatMap(({ year, estimate, limits, atRisk: count }) =>
    estimate === null || limits === null
      ? []
      : [`year ${year}: ${percentText(estimate)} (${shareLimitsText(limits)}; ${count} at risk)`],
  );
  return `${survival.losses} of ${survival.patients} patients were seen to lose the gain. Interval-censored estimate, ${read.join('; ')}.`;
}
