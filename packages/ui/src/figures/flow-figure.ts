import type { FlowYear, NotSeenReason } from '@longhold/core/answers';
import * as Plot from '@observablehq/plot';
import { FIGURE_WIDTH, figureText, FONT_SIZE, INK } from './figure';
import { legend, legendHeight, type LegendEntry } from './legend';

const LEFT = 76;
const BAR_HEIGHT = 34;

/** The parts of a year's bar, from left to right. */
const PARTS = [
  { name: 'measured', text: 'Seen and measured', fill: INK.line, ink: 'white' },
  { name: 'notMeasured', text: 'Seen, no usable value', fill: '#7d97aa', ink: 'black' },
  { name: 'known', text: 'Not seen, reason known', fill: INK.band, ink: 'black' },
  { name: 'notKnown', text: 'Not seen, reason not recorded', fill: 'white', ink: 'black' },
] as const;
type PartName = (typeof PARTS)[number]['name'];

/**
 * Who was seen in each year: one bar a year, as long as the number of patients who could have been seen.
 * SVG text; the same input gives the same text.
 * @param document any DOM document, the browser's own or a simulated one
 */
export function flowFigure(document: Document, flow: readonly FlowYear[]): string {
  const most = Math.max(1, ...flow.map(({ eligible }) => eligible));
  const segments = flow.flatMap(segmentsOf);
  const entries = PARTS.map(({ text, fill }): LegendEntry => ({
    text,
    sample: { kind: 'box', attributes: { fill, stroke: INK.second } },
  }));
  const top = legendHeight(entries) + 12;
  const plotted = Plot.plot({
    document,
    width: FIGURE_WIDTH,
    height: top + 56 + BAR_HEIGHT * Math.max(1, flow.length),
    marginTop: top,
    marginLeft: LEFT,
    marginRight: 24,
    marginBottom: 56,
    x: { domain: [0, most], label: null },
    y: { domain: flow.map(({ year }) => year), label: null, padding: 0.2 },
    marks: [
      Plot.barX(segments, {
        y: 'year',
        x1: 'from',
        x2: 'to',
        fill: 'fill',
        stroke: INK.second,
        strokeWidth: 1,
      }),
      Plot.text(
        segments.filter(({ from, to }) => (to - from) / most > 0.025),
        {
          y: 'year',
          x: ({ from, to }: Segment) => (from + to) / 2,
          text: ({ from, to }: Segment) => String(to - from),
          fill: 'ink',
          fontSize: FONT_SIZE,
        },
      ),
      Plot.axisY({
        fontSize: FONT_SIZE,
        tickFormat: (year: number) => `Year ${year}`,
        tickSize: 0,
        label: null,
      }),
      Plot.axisX({ fontSize: FONT_SIZE, ticks: Math.min(8, most), tickFormat: String, label: null }),
      Plot.text(['Patients who could have been seen'], {
        frameAnchor: 'bottom',
        dy: 40,
        fontSize: FONT_SIZE,
      }),
    ],
  });
  plotted.append(legend(document, entries, 8, FIGURE_WIDTH - 16));
  return figureText(plotted, document, {
    title: 'Who was seen in each year after the end of active treatment',
    description: describe(flow),
  });
}

interface Segment {
  readonly year: number;
  readonly from: number;
  readonly to: number;
  readonly fill: string;
  readonly ink: string;
}

function segmentsOf(flow: FlowYear): Segment[] {
  const counts = countsOf(flow);
  let to = 0;
  return PARTS.flatMap(({ name, fill, ink }) => {
    const from = to;
    to += counts[name];
    return to > from ? [{ year: flow.year, from, to, fill, ink }] : [];
  });
}

function countsOf({ measured, seenNotMeasured, notSeen }: FlowYear): Record<PartName, number> {
  const reasons = Object.keys(notSeen) as NotSeenReason[];
  const known = reasons
    .filter((reason) => reason !== 'not-known')
    .reduce((sum, reason) => sum + notSeen[reason], 0);
  return { measured, notMeasured: seenNotMeasured, known, notKnown: notSeen['not-known'] };
}

function describe(flow: readonly FlowYear[]): string {
  if (flow.length === 0) return 'Nobody could have been seen for a whole year yet.';
  return flow
    .map(
      ({ year, eligible, seen, measured }) =>
        `Year ${year}: ${eligible} could have been seen, ${seen} were, ${measured} measured.`,
    )
    .join(' ');
}
