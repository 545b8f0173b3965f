import { percentText, ratioIntervalText, type RetainedYear } from '@longhold/core/answers';
import * as Plot from '@observablehq/plot';
import { FIGURE_WIDTH, figureText, FONT_SIZE, INK } from './figure';

const LEFT = 76;
/** Shares outside this range are cut off and marked with an arrowhead: beyond it, they only say "not known". */
const SHOWN = { lowest: -0.5, highest: 2 };

/** What the retention figure shows. */
export interface RetentionFigureInput {
  readonly retained: readonly RetainedYear[];
  /** Threshold share of the question, drawn as a guide; null when the threshold is an amount. */
  readonly thresholdShare: number | null;
}

/**
 * Retained share of the gain by year with its confidence limits, and the number of patients under each year.
 * Limits that run out of the frame end in an arrowhead; a year without bounded limits says so. SVG text; the
 * same input gives the same text.
 * @param document any DOM document, the browser's own or a simulated one
 */
export function retentionFigure(
  document: Document,
  { retained, thresholdShare }: RetentionFigureInput,
): string {
  const years = retained.flatMap(({ year, n, share }) => (share === null ? [] : [{ year, n, ...share }]));
  const bounds = shownBounds(years);
  const whiskers = years.flatMap(({ year, interval }) =>
    interval.kind === 'bounded'
      ? [
          {
            year,
            low: Math.max(bounds.low, interval.lower),
            high: Math.min(bounds.high, interval.upper),
            interval,
          },
        ]
      : [],
  );
  const unbounded = years.filter(({ interval }) => interval.kind !== 'bounded');
  const lastYear = Math.max(1, ...retained.map(({ year }) => year));
  const guides = [
    { share: 1, dash: '1 4' },
    ...(thresholdShare === null ? [] : [{ share: thresholdShare, dash: '6 4' }]),
  ];
  const plotted = Plot.plot({
    document,
    width: FIGURE_WIDTH,
    height: 400,
    marginTop: 40,
    marginLeft: LEFT,
    marginRight: 96,
    marginBottom: 92,
    x: { domain: [0, lastYear + 0.4], label: null },
    y: { domain: [bounds.low, bounds.high], label: null },
    marks: [
      Plot.ruleY([0], { stroke: INK.guide }),
      Plot.ruleY(guides, { y: 'share', stroke: INK.second, strokeDasharray: '5 4' }),
      Plot.text(guides, {
        y: 'share',
        text: ({ share }: { share: number }) =>
          share === 1 ? 'whole gain' : `threshold ${percentText(share)}`,
        frameAnchor: 'right',
        textAnchor: 'start',
        dx: 6,
        fontSize: FONT_SIZE - 1,
      }),
      Plot.link(whiskers, { x: 'year', y1: 'low', y2: 'high', stroke: INK.line, strokeWidth: 2 }),
      Plot.dot(
        whiskers.filter(({ interval }) => interval.lower < bounds.low),
        {
          x: 'year',
          y: bounds.low,
          symbol: 'triangle',
          rotate: 180,
          fill: INK.line,
          r: 5,
        },
      ),
      Plot.dot(
        whiskers.filter(({ interval }) => interval.upper > bounds.high),
        {
          x: 'year',
          y: bounds.high,
          symbol: 'triangle',
          fill: INK.line,
          r: 5,
        },
      ),
      Plot.text(unbounded, {
        x: 'year',
        text: () => 'limits\nnot bounded',
        frameAnchor: 'top',
        lineAnchor: 'top',
        fontSize: FONT_SIZE - 2,
      }),
      Plot.dot(
        years.filter(({ estimate }) => estimate >= bounds.low && estimate <= bounds.high),
        {
          x: 'year',
          y: 'estimate',
          r: 5,
          fill: 'white',
          stroke: INK.line,
          strokeWidth: 2.5,
        },
      ),
      Plot.axisX(
        retained.map(({ year }) => year),
        { fontSize: FONT_SIZE, tickFormat: String, label: null },
      ),
      Plot.axisY({ fontSize: FONT_SIZE, ticks: 6, tickFormat: percentText, label: null }),
      Plot.text(['Years since the end of active treatment'], {
        frameAnchor: 'bottom',
        dy: 38,
        fontSize: FONT_SIZE,
      }),
      Plot.text(['Share of the gain that is kept'], {
        frameAnchor: 'top-left',
        textAnchor: 'start',
        dx: -LEFT + 8,
        dy: -28,
        fontSize: FONT_SIZE,
      }),
      Plot.text(['Patients'], {
        frameAnchor: 'bottom-left',
        textAnchor: 'end',
        dx: -2,
        dy: 66,
        fontSize: FONT_SIZE,
      }),
      Plot.text(retained, {
        x: 'year',
        text: ({ n }: RetainedYear) => String(n),
        frameAnchor: 'bottom',
        dy: 66,
        fontSize: FONT_SIZE,
      }),
    ],
  });
  return figureText(plotted, document, {
    title: 'Share of the gain that is kept, by year since the end of active treatment',
    description: describe(retained),
  });
}

type ShownYear = { readonly estimate: number } & Pick<NonNullable<RetainedYear['share']>, 'interval'>;

function shownBounds(years: readonly ShownYear[]): { low: number; high: number } {
  const ends = years.flatMap(({ estimate, interval }) =>
    interval.kind === 'bounded' ? [estimate, interval.lower, interval.upper] : [estimate],
  );
  return {
    low: Math.max(SHOWN.lowest, 1.04 * Math.min(0, ...ends)),
    high: Math.min(SHOWN.highest, 1.04 * Math.max(1.1, ...ends)),
  };
}

function describe(retained: readonly RetainedYear[]): string {
  const years = retained.map(({ year, n, share }) =>
    share === null
      ? `year ${year}: not known (${n} patients)`
      : `year ${year}: ${percentText(share.estimate)} (${ratioIntervalText(share.interval)}; ${n} patients)`,
  );
  return years.length === 0 ? 'Nobody has been followed yet.' : `Kept share, ${years.join('; ')}.`;
}
