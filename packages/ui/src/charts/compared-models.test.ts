import type {
  GroupSurvival,
  PlanningAnswer,
  ReferenceResults,
  ReferenceRow,
  SensitivityAnswer,
  SensitivityRow,
} from '@longhold/core/answers';
import { findMeasure, type MeasureDefinition } from '@longhold/core/measures';
import { describe, expect, it } from 'vitest';
import { chartSvg } from './chart-svg';
import type { Layer } from './chart-model';
import { groupCurvesModel } from './group-curves-model';
import { planningModel } from './planning-model';
import { referencesModel, sensitivityModel } from './sensitivity-model';

function measureOf(code: string): MeasureDefinition {
  const measure = findMeasure(code);
  if (measure === undefined) throw new Error(`no measure ${code}`);
  return measure;
}
const coGn = measureOf('Co-Gn');

function ofKind<K extends Layer['kind']>(layers: readonly Layer[], kind: K): Extract<Layer, { kind: K }>[] {
  return layers.filter((layer): layer is Extract<Layer, { kind: K }> => layer.kind === kind);
}

describe('how sure an answer is', () => {
  const lasting = { estimate: 2, standardError: 0.5, df: 30, p: 0.001, limits: { lower: 1, upper: 3 } };
  const row = (changes: Partial<SensitivityRow>): SensitivityRow => ({
    aspect: 'reference',
    choice: 'Untreated series',
    inForce: false,
    patients: 40,
    retained: { n: 30, estimate: 0.7, interval: { kind: 'bounded', lower: 0.5, upper: 0.9 } },
    survival: {
      year: 3,
      estimate: 0.6,
      limits: { lower: 0.4, upper: 0.8 },
      atRisk: 15,
      undefinedWithin: null,
    },
    atYears: [],
    lasting,
    share: null,
    diagnosis: 'both',
    lastingRefused: null,
    ...changes,
  });
  const reference = (label: string, results: ReferenceResults | null): ReferenceRow => ({
    kind: 'untreated-series',
    table: null,
    clock: 'age',
    name: label,
    label,
    inForce: label === 'Own',
    results,
    why: results === null ? 'No children.' : null,
  });
  const resultsOf = (estimate: number): ReferenceResults => ({
    ...row({ lasting: { ...lasting, estimate } }),
    gain: null,
    followed: 20,
    dropsOut: [],
    comesIn: [],
    notCovered: [],
    notPlaced: [],
  });
  const answer: SensitivityAnswer = {
    retainedYear: 5,
    survivalYear: 3,
    rows: [
      row({ inForce: true }),
      row({ retained: { n: 30, estimate: 0.9, interval: { kind: 'at-least', lower: 0.3 } } }),
      row({ retained: null, survival: null, lasting: null }),
    ],
    references: {
      needed: true,
      rows: [
        reference('Own', resultsOf(2)),
        reference('Not to be used', null),
        reference('Table', resultsOf(1.2)),
      ],
    },
    withoutOne: null,
    influence: null,
    survivalWithoutOne: null,
  };

  it('is told of the result that the page is about', () => {
    const heights = (compared: 'kept' | 'lasts' | 'grown') =>
      ofKind(sensitivityModel(answer, compared, coGn).layers, 'mark').map(({ y }) => y);
    expect(heights('kept')).toEqual([0.7, 0.9]);
    expect(heights('lasts')).toEqual([0.6, 0.6]);
    expect(heights('grown')).toEqual([2, 2]);
  });

  it('keeps the numbers of the table where a choice has no result', () => {
    const model = sensitivityModel(
      { ...answer, rows: [row({ retained: null }), row({ inForce: true })] },
      'kept',
      coGn,
    );
    expect(model.points.map(({ x }) => x)).toEqual([2]);
    expect(model.points[0]?.text).toContain('2. Untreated series (as asked): 70\u00a0% kept');
    expect(model.x.ticks).toEqual([1, 2]);
  });

  it('is told under each growth reference, the one in force by another sign, those without results left empty', () => {
    const model = referencesModel(answer, 'grown', coGn);
    const marks = ofKind(model.layers, 'mark');
    expect(marks.map(({ x, y, shape }) => [x, y, shape])).toEqual([
      [1, 2, 'disc'],
      [3, 1.2, 'square'],
    ]);
    expect(model.x.ticks).toEqual([1, 2, 3]);
    expect(model.points[0]?.text).toContain('1. Own (as asked): lasting gain');
  });

  it('draws a bound without an interval, which it has none of', () => {
    const bound = { year: 3, estimate: 0.4, limits: null, atRisk: 15, undefinedWithin: null };
    const model = sensitivityModel(
      { ...answer, rows: [row({ inForce: true }), row({ aspect: 'absence', survival: bound })] },
      'lasts',
      coGn,
    );
    expect(ofKind(model.layers, 'mark').map(({ y }) => y)).toEqual([0.6, 0.4]);
    expect(ofKind(model.layers, 'whisker').map(({ x }) => x)).toEqual([1]);
    expect(model.points[1]?.text).toContain('a bound');
  });

  it('draws an interval open on the side on which nothing bounds the share', () => {
    const whiskers = ofKind(sensitivityModel(answer, 'kept', coGn).layers, 'whisker');
    expect(whiskers[1]).toMatchObject({ lower: 0.3, upper: null });
  });
});

describe('a plan as a figure', () => {
  const plan: PlanningAnswer = {
    readFrom: 'growth-clock',
    dropOut: 0.1,
    missed: 0.1,
    continued: { callable: 40, absent: 0, absentReturn: null, years: [{ years: 1, lasting: 0.8 }] },
    target: 0.5,
    numbers: [10, 40],
    rows: [
      { years: 1, lasting: [null, 1.5], share: [null, 0.5], patients: null },
      { years: 2, lasting: [2.5, 1.1], share: [0.7, 0.3], patients: 300 },
    ],
    floor: 0.3,
    present: { lasting: 0.9, patients: 60 },
  };
  const model = planningModel(plan, coGn);

  it('has a line for each number of patients, from the first year that tells anything', () => {
    expect(ofKind(model.layers, 'line').map(({ x }) => x)).toEqual([[2], [1, 2]]);
    expect(model.points[0]?.text).toContain('10 patients tell nothing');
  });

  it('marks what is asked for, and the doubt that no number of patients removes', () => {
    expect(ofKind(model.layers, 'rule').map(({ at }) => at)).toEqual([0.5, 0.3]);
    const known = planningModel({ ...plan, floor: 0 }, coGn);
    expect(ofKind(known.layers, 'rule').map(({ at }) => at)).toEqual([0.5]);
  });
});

describe('curves of groups', () => {
  const group = (label: string, survival: number): GroupSurvival => ({
    label,
    patients: 20,
    losses: 5,
    points: [{ time: 2, survival, lower: 0, upper: 1 }],
    atYears: [{ year: 2, estimate: survival, limits: null, atRisk: 9, undefinedWithin: null }],
    restrictedMean: null,
  });
  const model = groupCurvesModel([group('A', 0.5), group('B', 0.51), group('C', 0.9)]);

  it('are told apart by dash and by sign, not by colour alone', () => {
    const dashes = ofKind(model.layers, 'line').map(({ dash }) => (dash ?? []).join(' '));
    const shapes = ofKind(model.layers, 'mark').map(({ shape }) => shape);
    expect(new Set(dashes).size).toBe(3);
    expect(new Set(shapes).size).toBe(3);
  });

  it('are named at their ends, with names that do not run into each other', () => {
    const names = ofKind(model.layers, 'label');
    expect(names.map(({ text }) => text)).toEqual(['A', 'B', 'C']);
    const [a, b] = names;
    expect((b?.y ?? 0) - (a?.y ?? 0)).toBeGreaterThan(0.06);
  });
});

describe('a saved figure', () => {
  const words = { title: 'Gain & loss <of> the jaw', note: 'Invented patients.' };
  const model = groupCurvesModel([
    {
      label: 'A',
      patients: 3,
      losses: 1,
      points: [],
      atYears: [{ year: 1, estimate: 0.5, limits: null, atRisk: 2, undefinedWithin: null }],
      restrictedMean: null,
    },
  ]);

  it('stands alone: title, key and where it comes from are in the drawing', () => {
    const svg = chartSvg(model, words);
    expect(svg).toContain('<title>Gain &amp; loss &lt;of&gt; the jaw</title>');
    expect(svg).toContain('A (3 patients)');
    expect(svg).toContain('Invented patients.');
    expect(svg).not.toMatch(/NaN|undefined|Infinity|var\(|url\(http/);
  });

  it('is the same text for the same figure', () => {
    expect(chartSvg(model, words)).toBe(chartSvg(model, words));
  });

  it('points an arrow to where an interval has no end, and caps one that has', () => {
    const open = chartSvg(
      { ...model, layers: [{ kind: 'whisker', x: 1, lower: 0.2, upper: null, tone: 'ink' }] },
      words,
    );
    const drawn = /<path d="(M[^"]*)" fill="none" stroke="#1d1a22" stroke-width="1.75"/.exec(open)?.[1] ?? '';
    expect(drawn.match(/h10/g)).toHaveLength(1);
    expect(drawn.match(/L/g)).toHaveLength(2);
  });

  it('fills hatched bars with a pattern that it brings along', () => {
    const svg = chartSvg(
      {
        ...model,
        layers: [{ kind: 'bar', x: 1, width: 0.5, from: 0, to: 0.5, tone: 'compare', texture: 'hatched' }],
      },
      words,
    );
    expect(svg).toContain('<pattern id="hatched-compare"');
    expect(svg).toContain('fill="url(#hatched-compare)"');
  });
});
