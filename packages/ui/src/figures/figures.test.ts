import type { FlowYear, RetainedYear, SurvivalAnswer } from '@longhold/core/answers';
import { parseHTML } from 'linkedom';
import { describe, expect, it } from 'vitest';
import { flowFigure, retentionFigure, survivalFigure } from './index';

const { document } = parseHTML('<!doctype html><html><body></body></html>');
const parse = (svg: string): Element => {
  const element = parseHTML(`<!doctype html><html><body>${svg}</body></html>`).document.querySelector('svg');
  if (element === null) throw new Error('no figure');
  return element;
};
const texts = (svg: string): string[] =>
  [...parse(svg).querySelectorAll('text')].map((text) => text.textContent ?? '');

const at = (
  year: number,
  estimate: number | null,
  atRisk: number,
): SurvivalAnswer['turnbull']['atYears'][number] => ({
  year,
  estimate,
  limits: estimate === null ? null : { lower: estimate - 0.1, upper: Math.min(1, estimate + 0.1) },
  atRisk,
  undefinedWithin: null,
});

const survival: SurvivalAnswer = {
  patients: 40,
  losses: 12,
  treatedAgain: 1,
  turnbull: {
    intervals: [
      { left: 0.9, right: 1.1, mass: 0.2 },
      { left: 2, right: 2.9, mass: 0.2 },
      { left: 5.5, right: Infinity, mass: 0.6 },
    ],
    points: [
      { time: 0.9, survival: 1, lower: 0.9, upper: 1 },
      { time: 1.1, survival: 0.8, lower: 0.65, upper: 0.9 },
      { time: 2, survival: 0.8, lower: 0.62, upper: 0.9 },
      { time: 2.9, survival: 0.6, lower: 0.4, upper: 0.75 },
    ],
    atYears: [at(1, 0.9, 34), at(2, 0.8, 25), at(3, 0.6, 14), at(5, 0.6, 4), at(10, null, 0)],
    converged: true,
    iterations: 20,
    optimalityGap: 0,
    logLikelihood: -30,
    resamples: 500,
    restrictedMean: null,
  },
  kaplanMeier: {
    points: [
      { time: 1.1, survival: 0.82, lower: 0.7, upper: 0.9 },
      { time: 2.9, survival: 0.63, lower: 0.45, upper: 0.78 },
    ],
    atYears: [at(1, 1, 34)],
  },
  carried: { growthReference: 'none', methodError: 'not-known' },
  byRule: [],
  falseLossesExpected: 2.5,
};

const retained: RetainedYear[] = [
  {
    year: 1,
    n: 30,
    meanGainAtEnd: 4,
    meanGainNow: 3.6,
    share: { estimate: 0.9, interval: { kind: 'bounded', lower: 0.8, upper: 1 } },
    bootstrap: null,
  },
  {
    year: 2,
    n: 6,
    meanGainAtEnd: 4,
    meanGainNow: 3,
    share: { estimate: 0.75, interval: { kind: 'bounded', lower: -3, upper: 4 } },
    bootstrap: null,
  },
  {
    year: 3,
    n: 3,
    meanGainAtEnd: 1,
    meanGainNow: 1,
    share: { estimate: 1, interval: { kind: 'whole-line' } },
    bootstrap: null,
  },
  { year: 4, n: 1, meanGainAtEnd: 2, meanGainNow: 1, share: null, bootstrap: null },
];

const flow: FlowYear[] = [
  {
    year: 1,
    eligible: 50,
    seen: 40,
    measured: 35,
    seenNotMeasured: 5,
    seenFactorUnknown: 0,
    notSeen: { withdrew: 1, moved: 2, declined: 3, 'treated-again': 0, 'no-consent': 0, 'not-known': 4 },
  },
  {
    year: 2,
    eligible: 30,
    seen: 20,
    measured: 20,
    seenNotMeasured: 0,
    seenFactorUnknown: 0,
    notSeen: { withdrew: 1, moved: 2, declined: 3, 'treated-again': 1, 'no-consent': 0, 'not-known': 3 },
  },
];

describe('every figure', () => {
  const all = (): string[] => [
    survivalFigure(document, survival),
    retentionFigure(document, { retained, thresholdShare: 0.75 }),
    flowFigure(document, flow),
  ];

  it('is the same text for the same answer', () => {
    expect(all()).toEqual(all());
  });

  it('carries a title and a description, and nothing that a strict content policy refuses', () => {
    for (const svg of all()) {
      expect(svg).toMatch(/^<svg [^>]*role="img"[^>]*><title>[^<]+<\/title><desc>[^<]+<\/desc>/);
      expect(svg).not.toMatch(/<style|<script|style="|class="|href=|url\(|NaN|Infinity/);
    }
  });

  it('can be drawn when there is nothing to show yet', () => {
    const { turnbull } = survival;
    const nobodyLost = {
      ...survival,
      losses: 0,
      turnbull: { ...turnbull, intervals: [{ left: 3, right: Infinity, mass: 1 }], points: [] },
    };
    for (const svg of [
      survivalFigure(document, nobodyLost),
      retentionFigure(document, { retained: [], thresholdShare: null }),
      flowFigure(document, []),
    ]) {
      expect(svg).not.toMatch(/NaN|Infinity|undefined/);
    }
  });
});

describe('the survival figure', () => {
  it('prints the numbers at risk under the years', () => {
    expect(texts(survivalFigure(document, survival))).toEqual(
      expect.arrayContaining(['At risk', '40', '34', '25', '14', '4']),
    );
  });

  it('draws a box for each interval in which the time of loss is not known, at the height of its mass', () => {
    const boxes = [
      ...parse(survivalFigure(document, survival)).querySelectorAll('g[aria-label="rect"] rect'),
    ];
    expect(boxes).toHaveLength(2);
    const heights = boxes.map((box) => Number(box.getAttribute('height')));
    expect(heights[0]).toBeCloseTo(heights[1] ?? NaN, 6);
    const widths = boxes.map((box) => Number(box.getAttribute('width')));
    expect((widths[1] ?? NaN) / (widths[0] ?? NaN)).toBeCloseTo(0.9 / 0.2, 6);
  });

  it('tells in words what it shows', () => {
    expect(survivalFigure(document, survival)).toContain('12 of 40 patients were seen to lose the gain');
  });
});

describe('the retention figure', () => {
  const svg = retentionFigure(document, { retained, thresholdShare: 0.75 });

  it('prints the number of patients of every year, also of one without an estimate', () => {
    expect(texts(svg)).toEqual(expect.arrayContaining(['Patients', '30', '6', '3', '1']));
  });

  it('says where limits are not bounded', () => {
    expect(parse(svg).textContent).toContain('not bounded');
  });

  it('ends limits that leave the frame in arrowheads', () => {
    /* Year 2 has limits of -300 % and 400 %: one arrowhead below, one above. */
    const arrowheads = [...parse(svg).querySelectorAll('g[aria-label="dot"]')].filter(
      (g) => g.getAttribute('fill') !== 'white',
    );
    expect(arrowheads.map((g) => g.querySelectorAll('path').length)).toEqual([1, 1]);
  });
});

describe('the flow figure', () => {
  it('makes each bar as long as the number who could have been seen', () => {
    const bars = [...parse(flowFigure(document, flow)).querySelectorAll('g[aria-label="bar"] rect')];
    const byRow = new Map<string, number>();
    for (const bar of bars) {
      const row = bar.getAttribute('y') ?? '';
      byRow.set(row, (byRow.get(row) ?? 0) + Number(bar.getAttribute('width')));
    }
    const [first, second] = [...byRow.values()];
    expect((first ?? NaN) / (second ?? NaN)).toBeCloseTo(50 / 30, 6);
  });

  it('writes the counts into the bars', () => {
    expect(texts(flowFigure(document, flow))).toEqual(
      expect.arrayContaining(['35', '5', '6', '4', '20', '7', '3']),
    );
  });
});
