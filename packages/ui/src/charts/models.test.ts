import type {
  FlowYear,
  RetainedYear,
  SurvivalAnswer,
  VisitOutcome,
  PatientOutcome,
} from '@longhold/core/answers';
import { findMeasure } from '@longhold/core/measures';
import { describe, expect, it } from 'vitest';
import { courseModel } from './course-model';
import { flowModel } from './flow-model';
import { retentionModel } from './retention-model';
import { describeSurvivalAtYear, survivalModel } from './survival-model';

function measureOf(code: string) {
  const measure = findMeasure(code);
  if (measure === undefined) throw new Error(`no measure ${code}`);
  return measure;
}
const coGn = measureOf('Co-Gn');
const share = { kind: 'share', share: 0.75 } as const;

describe('the chart of the retained share', () => {
  const years: RetainedYear[] = [
    {
      year: 1,
      n: 40,
      meanGainAtEnd: 3.5,
      meanGainNow: 3.2,
      share: { estimate: 0.914, interval: { kind: 'bounded', lower: 0.85, upper: 0.98 } },
      bootstrap: null,
    },
    { year: 2, n: 0, meanGainAtEnd: null, meanGainNow: null, share: null, bootstrap: null },
    {
      year: 3,
      n: 3,
      meanGainAtEnd: 1,
      meanGainNow: 9,
      share: { estimate: 9, interval: { kind: 'whole-line' } },
      bootstrap: null,
    },
  ];
  const model = retentionModel(years, coGn, share);

  it('reads out every year in which somebody was measured', () => {
    expect(model.points.map(({ x }) => x)).toEqual([1, 3]);
    expect(model.points[0]?.text).toContain('91\u00a0% of the gain kept, interval 85\u00a0% to 98\u00a0%');
    expect(model.points[0]?.text).toContain('+3.5 mm then, +3.2 mm now');
  });

  it('shows a share that the data do not bound as open at both ends, and keeps its scale for the others', () => {
    const open = model.layers.find((layer) => layer.kind === 'whisker' && layer.x === 3);
    expect(open).toMatchObject({ lower: null, upper: null });
    expect(model.y.range[1]).toBeLessThan(1.3);
    expect(model.layers.filter(({ kind }) => kind === 'mark')).toHaveLength(1);
  });

  it('shows how many were measured under each year', () => {
    expect(model.under?.at.get(1)).toBe('40');
    expect(model.under?.at.get(2)).toBe('0');
  });
});

describe('the chart of survival', () => {
  const at = (year: number, estimate: number | null, atRisk: number) => ({
    year,
    estimate,
    limits: estimate === null ? null : { lower: estimate - 0.1, upper: Math.min(1, estimate + 0.1) },
    atRisk,
    undefinedWithin: null,
  });
  const survival: SurvivalAnswer = {
    patients: 20,
    losses: 4,
    treatedAgain: 1,
    turnbull: {
      intervals: [{ left: 1.2, right: 1.9, mass: 0.2 }],
      points: [
        { time: 1.2, survival: 1, lower: 0.9, upper: 1 },
        { time: 1.9, survival: 0.8, lower: 0.6, upper: 0.95 },
      ],
      atYears: [at(1, 1, 18), at(2, 0.8, 12), at(3, 0.8, 5), at(5, null, 0)],
      converged: true,
      iterations: 12,
      optimalityGap: 1e-12,
      logLikelihood: -10,
      resamples: 500,
      restrictedMean: null,
    },
    kaplanMeier: {
      points: [{ time: 2.1, survival: 0.8, lower: 0.6, upper: 0.95 }],
      atYears: [at(1, 1, 18), at(2, 1, 12), at(3, 0.8, 5), at(5, null, 0)],
    },
    carried: { growthReference: 'none', methodError: 'not-known' },
    byRule: [],
    falseLossesExpected: 0.4,
  };

  it('starts with everybody and goes on to the last year in which somebody was followed', () => {
    const lines = survivalModel(survival, false).layers.filter((layer) => layer.kind === 'line');
    expect(lines[0]).toMatchObject({ x: [0, 1] });
    expect(lines.at(-1)).toMatchObject({ x: [2, 3], y: [0.8, 0.8] });
  });

  it('dots the fall within which the visits do not say when the gain was lost', () => {
    const lines = survivalModel(survival, false).layers.filter((layer) => layer.kind === 'line');
    const dotted = lines.filter((line) => line.dash !== undefined);
    expect(dotted).toHaveLength(1);
    expect(dotted[0]).toMatchObject({ x: [1.2, 1.9], y: [1, 0.8] });
  });

  it('adds the conventional curve as steps, with its entry in the key, when asked', () => {
    const model = survivalModel(survival, true);
    expect(model.layers.find((layer) => layer.kind === 'line' && layer.stepped === true)).toBeDefined();
    expect(model.key).toHaveLength(survivalModel(survival, false).key.length + 1);
  });

  it('reads out between what the share lies where the curve is not defined', () => {
    const [year] = survival.turnbull.atYears;
    expect(year).toBeDefined();
    if (year === undefined) return;
    const text = describeSurvivalAtYear({ ...year, undefinedWithin: { lower: 0.6, upper: 0.8 } });
    expect(text).toContain('not defined here, somewhere in 60\u00a0% to 80\u00a0% still have the gain');
  });

  it('has nothing to read where nobody was followed to any year', () => {
    const nobody = { year: 1, estimate: null, limits: null, atRisk: 0, undefinedWithin: null };
    const model = survivalModel(
      {
        ...survival,
        turnbull: { ...survival.turnbull, points: [], atYears: [nobody] },
        kaplanMeier: { points: [], atYears: [nobody] },
      },
      true,
    );
    expect(model.points).toEqual([]);
  });

  it('counts everybody at risk at the end of active treatment', () => {
    const { under, points } = survivalModel(survival, true);
    expect(under?.at.get(0)).toBe('20');
    expect(under?.at.get(2)).toBe('12');
    expect(points.at(-1)?.text).toBe(
      'Year 3: 80\u00a0% still have the gain, interval 70\u00a0% to 90\u00a0%; 5 at risk.',
    );
  });
});

describe('the chart of who was seen', () => {
  const year: FlowYear = {
    year: 1,
    eligible: 10,
    seen: 7,
    measured: 5,
    seenNotMeasured: 2,
    seenFactorUnknown: 0,
    notSeen: { withdrew: 0, moved: 2, declined: 1, 'treated-again': 0, 'no-consent': 0, 'not-known': 0 },
  };

  it('stacks measured, seen only and not seen up to all whose year has passed', () => {
    const bars = flowModel([year]).layers.filter((layer) => layer.kind === 'bar');
    expect(bars.map(({ from, to, texture }) => [from, to, texture])).toEqual([
      [7, 10, 'open'],
      [5, 7, 'hatched'],
      [0, 5, 'solid'],
    ]);
  });

  it('reads out the reasons, the commonest first', () => {
    expect(flowModel([year]).points[0]?.text).toContain('3 not seen (2\u00a0moved away, 1\u00a0declined)');
  });
});

describe('the chart of one patient', () => {
  const visit = (kind: VisitOutcome['kind'], age: number, value: number): VisitOutcome => ({
    kind,
    date: null,
    age,
    growthAge: age,
    measured: value,
    filmFactor: 1,
    clockSd: 0,
    years: null,
    value,
    readings: 2,
    films: 1,
    retracingShare: 0.5,
    expected: { value: value - 3, limits: { lower: value - 5, upper: value - 1 } },
    gain: null,
    share: null,
    status:
      kind === 'follow_up'
        ? { verdict: 'held', reason: null, margin: 1, measurementSd: 0.5, growthSd: 0.4, limits: null }
        : null,
  });
  const outcome: PatientOutcome = {
    code: 'P-1',
    sex: 'male',
    protocol: null,
    expansion: null,
    gain: null,
    visits: [visit('start', 11, 105), visit('end_of_active', 12, 111), visit('follow_up', 14, 116)],
    status: { verdict: 'held', reason: null, margin: 1, measurementSd: 0.5, growthSd: 0.4, limits: null },
    loss: null,
    lossByRule: null,
    unsized: [],
    maturityStart: null,
    treatedAgainAt: null,
    leftOut: null,
  };

  it('shades active treatment and marks later visits with the sign of their status', () => {
    const { layers, key } = courseModel(outcome, null, coGn);
    expect(layers.find(({ kind }) => kind === 'span')).toMatchObject({ from: 11, to: 12 });
    expect(layers.filter(({ kind }) => kind === 'mark').at(-1)).toMatchObject({
      x: 14,
      shape: 'disc',
      tone: 'held',
    });
    expect(key.map(({ label }) => label)).toContain('Held');
  });

  it('leaves room for the band of expected growth', () => {
    const course = { age: [11, 14], expected: [105, 113], lower: [103, 90], upper: [107, 117] };
    expect(courseModel(outcome, course, coGn).y.range[0]).toBeLessThan(90);
  });
});
