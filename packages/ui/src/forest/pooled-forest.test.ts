import type { ViewedQuantity } from '@longhold/core/pooled';
import { describe, expect, it } from 'vitest';
import { drawForest } from './forest-drawing';
import { forestPoints } from './forest-model';
import { forestSvg } from './forest-svg';
import { pooledForest, withoutOneForest, type ForestContext } from './pooled-forest';

const MEAN = {
  centres: 3,
  estimate: 0.8,
  limits: { lower: 0.7, upper: 0.9 },
  p: 0.001,
  prediction: { lower: 0.6, upper: 1 },
  tauSquared: 0.002,
  tauSquaredLimits: { lower: 0, upper: 0.02 },
  iSquared: 0.4,
  q: 5,
  qDegreesOfFreedom: 2,
  qP: 0.2,
  commonSd: 0,
  warnings: [],
};
const QUANTITY: ViewedQuantity = {
  kind: 'retained-share',
  year: 3,
  scale: 'identity',
  patients: 1312,
  twoStage: MEAN,
  oneStage: { estimate: 0.79, interval: { kind: 'bounded', lower: 0.75, upper: 0.83 } },
  between: null,
  own: null,
  rows: [
    {
      centre: 'a',
      patients: 1000,
      estimate: 0.75,
      interval: { kind: 'bounded', lower: 0.7, upper: 0.8 },
      weight: 0.6,
      pooledAs: null,
    },
    {
      centre: 'b',
      patients: 312,
      estimate: 0.9,
      interval: { kind: 'at-least', lower: 0.5 },
      weight: 0.4,
      pooledAs: null,
    },
  ],
  withoutOne: [{ centre: 'a', estimate: 0.9, limits: { lower: 0.5, upper: 1.3 }, iSquared: 0, commonSd: 0 }],
  leftOut: [],
  rowsWithheld: 0,
};
const CONTEXT: ForestContext = {
  measure: 'Co-Gn',
  level: 0.95,
  ownCentre: null,
  nameOf: (centre) => `Centre ${centre}`,
};
const OWN = { centre: 'mine', patients: 41, estimate: 0.85, interval: { kind: 'whole-line' as const } };

const kinds = (quantity: ViewedQuantity, context = CONTEXT): string[] =>
  pooledForest(quantity, context).rows.map(({ kind }) => kind);

describe('the forest plot of a pooled result', () => {
  it('shows the centres, their mean, a further centre, and all patients as one series', () => {
    expect(kinds(QUANTITY)).toEqual(['centre', 'centre', 'mean', 'prediction', 'series']);
  });

  it('shows to a centre its own row beside the pool, and once only', () => {
    const context = { ...CONTEXT, ownCentre: 'mine' };
    const alone = { ...QUANTITY, rows: [], own: OWN };
    expect(kinds(alone, context)).toEqual(['own', 'mean', 'prediction', 'series']);
    const among = {
      ...QUANTITY,
      rows: [...QUANTITY.rows, { ...OWN, weight: 0.1, pooledAs: null }],
      own: OWN,
    };
    expect(kinds(among, context)).toEqual(['centre', 'centre', 'own', 'mean', 'prediction', 'series']);
  });

  it('draws nothing of what is withheld or refused', () => {
    const withheld = { ...QUANTITY, rows: [], patients: null, twoStage: null, oneStage: null };
    expect(kinds(withheld)).toEqual([]);
    expect(pooledForest(withheld, CONTEXT).guide).toBeNull();
    const refusal = { refused: 'too-few-centres', message: 'Two are needed.' };
    expect(kinds({ ...QUANTITY, twoStage: refusal, oneStage: refusal })).toEqual(['centre', 'centre']);
  });

  it('is read row by row, with interval, patients and weight', () => {
    const [first] = forestPoints(pooledForest(QUANTITY, CONTEXT));
    expect(first?.text.replaceAll('\u00a0', ' ')).toBe(
      'Centre a: 75 % (70 % to 80 %), 1,000 patients, weight 60 %.',
    );
  });

  it('leaves a limit open that is not bounded', () => {
    const row = pooledForest(QUANTITY, CONTEXT).rows[1];
    expect(row).toMatchObject({ lower: 0.5, upper: null });
    expect(row?.result.replaceAll('\u00a0', ' ')).toBe('90 % (50 % or more)');
  });

  it('shows the mean without each centre against the mean of all', () => {
    const model = withoutOneForest(QUANTITY, CONTEXT);
    expect(model.rows.map(({ label }) => label)).toEqual(['Without Centre a']);
    expect(model.guide).toBe(0.8);
  });
});

describe('the drawing of a forest plot', () => {
  it.each([320, 700, 1200])('keeps every line and word within a width of %i', (width) => {
    const { pieces, height, rows } = drawForest(pooledForest(QUANTITY, CONTEXT), width);
    expect(rows).toHaveLength(5);
    expect(height).toBeGreaterThan(rows[4]?.bottom ?? Infinity);
    for (const piece of pieces) {
      const x =
        piece.kind === 'words'
          ? [piece.x]
          : [...piece.d.matchAll(/[MHL](-?[\d.]+)/g)].map(([, at]) => Number(at));
      for (const at of x) {
        expect(at).toBeGreaterThanOrEqual(-10);
        expect(at).toBeLessThanOrEqual(width + 10);
      }
    }
  });

  it('puts an estimate where its value lies between those of its limits', () => {
    const { pieces } = drawForest(
      pooledForest({ ...QUANTITY, twoStage: null, oneStage: null }, CONTEXT),
      1000,
    );
    const paths = pieces.flatMap((piece) =>
      piece.kind === 'path' && piece.tone === 'expected' ? [piece] : [],
    );
    const [line, mark] = paths;
    const [from, to] = [line?.d.match(/^M(-?[\d.]+)/)?.[1], line?.d.match(/H(-?[\d.]+)/)?.[1]].map(Number);
    const [, left, side] = mark?.d.match(/^M(-?[\d.]+) [\d.]+h([\d.]+)/) ?? [];
    expect(Number(left) + Number(side) / 2).toBeCloseTo(((from ?? NaN) + (to ?? NaN)) / 2, 1);
  });

  it('is saved as one SVG text that holds every row, and no name can break it', () => {
    const context = { ...CONTEXT, nameOf: (centre: string) => `<${centre}>` };
    const svg = forestSvg(pooledForest(QUANTITY, context), { title: 'A & B', note: 'Invented.' });
    expect(svg).toContain('&lt;a&gt;');
    expect(svg).toContain('A &amp; B');
    expect(svg).not.toContain('<a>');
    expect(svg.match(/<text[^>]*>Mean over 3 centres</g)).toHaveLength(1);
    expect(svg).not.toMatch(/NaN|Infinity/);
  });
});
