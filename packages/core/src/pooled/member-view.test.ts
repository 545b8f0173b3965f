import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { isRefusal } from '../numeric';
import { mayShowPool } from './cells';
import { centreOf, inventedDefinition, inventedRecords } from './invented-centres.fixture';
import { memberView } from './member-view';
import { pooledAnswer } from './pooled-answer';
import type { PooledView, Viewer } from './view';
import { pooledViewSchema } from './view-schema';

const DEFINITION = inventedDefinition({ years: [1, 2, 3, 5, 6], smallestCell: 10 });

function centresOf(sizes: readonly number[]) {
  return sizes.map((patients, i) =>
    centreOf(`centre-${i}`, inventedRecords({ patients, seed: 100 + i + 7 * patients }), DEFINITION),
  );
}

function viewOf(
  sizes: readonly number[],
  viewer: Viewer,
  changes: { readonly recordsShared?: boolean } = {},
): PooledView {
  return memberView(pooledAnswer(centresOf(sizes), DEFINITION, 1), viewer, {
    smallestCell: DEFINITION.smallestCell,
    recordsShared: changes.recordsShared ?? false,
  });
}

/** Every number under a key that counts patients. */
function patientCounts(value: unknown, key = ''): number[] {
  const COUNTS = ['patients', 'eligible', 'seen', 'measured', 'treated', 'inRiskSet'];
  if (typeof value === 'number') return COUNTS.includes(key) ? [value] : [];
  if (Array.isArray(value)) return value.flatMap((one) => patientCounts(one, key));
  if (typeof value !== 'object' || value === null) return [];
  return Object.entries(value).flatMap(([name, one]) =>
    patientCounts(one, key === 'notSeen' ? 'patients' : name),
  );
}

describe('what a member sees of a pooled answer', () => {
  it('names no other centre to a centre or a reader, and shows a centre its own estimate', () => {
    const centre = viewOf([60, 40, 50], { kind: 'centre', centre: 'centre-1' });
    const text = JSON.stringify(centre);
    expect(text).not.toContain('centre-0');
    expect(text).not.toContain('centre-2');
    const share = centre.measures[0]?.quantities.find(
      ({ kind, year }) => kind === 'retained-share' && year === 1,
    );
    expect(share?.own?.centre).toBe('centre-1');
    expect(share?.twoStage).not.toBeNull();
    expect(JSON.stringify(viewOf([60, 40, 50], { kind: 'reader' }))).not.toContain('centre-');
  });

  it('shows readers and centres the same pool', () => {
    const pool = ({ measures }: PooledView) =>
      measures.map(({ flow, quantities, leftOut }) => ({
        flow,
        leftOut,
        quantities: quantities.map(({ own: _own, ...rest }) => rest),
      }));
    const reader = viewOf([60, 40, 50], { kind: 'reader' });
    expect(pool(viewOf([60, 40, 50], { kind: 'centre', centre: 'centre-0' }))).toEqual(pool(reader));
  });

  it('shows nothing of a pool of two centres: each would see the other', () => {
    const { measures } = viewOf([200, 200], { kind: 'reader' });
    for (const { patients, twoStage, oneStage } of measures[0]?.quantities ?? []) {
      expect([patients, twoStage, oneStage]).toEqual([null, null, null]);
    }
  });

  it('holds no number of patients below the smallest cell but zero, whatever the cell', () => {
    const answers = [
      [45, 12, 30, 7],
      [20, 9, 25],
    ].map((sizes) => pooledAnswer(centresOf(sizes), DEFINITION, 1));
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 60 }), fc.boolean(), (smallestCell, isReader) => {
        const viewer: Viewer = { kind: isReader ? 'reader' : 'coordinator' };
        for (const answer of answers) {
          const counts = patientCounts(memberView(answer, viewer, { smallestCell, recordsShared: false }));
          for (const count of counts)
            expect(count === 0 || count >= smallestCell, `${viewer.kind} sees ${count}`).toBe(true);
        }
      }),
    );
  });

  it('goes over a wire whole, for every kind of viewer and however little the pool holds', () => {
    const viewers: Viewer[] = [
      { kind: 'coordinator' },
      { kind: 'reader' },
      { kind: 'centre', centre: 'centre-0' },
    ];
    for (const sizes of [[60, 40, 50], [40, 3], [2]]) {
      const answer = pooledAnswer(centresOf(sizes), DEFINITION, 1);
      for (const viewer of viewers) {
        const view = memberView(answer, viewer, { smallestCell: 10, recordsShared: sizes.length === 2 });
        expect(pooledViewSchema.parse(JSON.parse(JSON.stringify(view)))).toEqual(view);
      }
    }
  });

  it('withholds the estimate with the number, where too few are followed', () => {
    const answer = pooledAnswer(centresOf([20, 20, 20]), DEFINITION, 1);
    const { measures } = memberView(answer, { kind: 'reader' }, { smallestCell: 10, recordsShared: false });
    const curve = measures[0]?.quantities.filter(({ kind }) => kind === 'survival') ?? [];
    const atRisk = answer.measures[0]?.atRisk ?? [];
    const few = curve.filter((_, i) => !mayShowPool(atRisk[i]?.byCentre ?? [], 10));
    expect(few.length).toBeGreaterThan(0);
    expect(few.length).toBeLessThan(curve.length);
    for (const { patients, twoStage, oneStage } of few)
      expect([patients, twoStage, oneStage]).toEqual([null, null, null]);
  });

  it('keeps an estimate on enough patients where only their number would give away another one', () => {
    const curve = viewOf([20, 20, 20], { kind: 'reader' }).measures[0]?.quantities.filter(
      ({ kind, patients, twoStage }) => kind === 'survival' && patients === null && twoStage !== null,
    );
    expect(curve?.length).toBeGreaterThan(0);
  });

  it('tells a reader and a centre no more digits of the pool than are printed, the coordinator all', () => {
    for (const viewer of [{ kind: 'reader' }, { kind: 'centre', centre: 'centre-1' }] as const) {
      const told = viewOf([60, 40, 50], viewer);
      expect(told.countStep).toBe(10);
      for (const { quantities, competing, survivalDifferences, flow } of told.measures) {
        expect(flow.every(({ eligible }) => eligible === null || eligible % 10 === 0)).toBe(true);
        expect(survivalDifferences).not.toHaveProperty('statistic', expect.any(Number));
        for (const { patients, twoStage, oneStage, own } of quantities) {
          expect((patients ?? 0) % 10).toBe(0);
          expect(own === null || viewer.kind === 'centre').toBe(true);
          for (const result of [twoStage, oneStage]) {
            if (result === null || isRefusal(result)) continue;
            expect(Math.abs(result.estimate * 100 - Math.round(result.estimate * 100))).toBeLessThan(1e-9);
          }
          // Three centres: with the spread between them each could work out the other two.
          if (twoStage === null || isRefusal(twoStage)) continue;
          const { iSquared, tauSquared, prediction, q, qP } = twoStage;
          expect({ iSquared, tauSquared, prediction, q, qP }).toEqual({
            iSquared: null,
            tauSquared: null,
            prediction: null,
            q: null,
            qP: null,
          });
        }
        for (const { lost } of competing) expect(lost.standardError).toBeNull();
      }
    }
    const { measures, countStep } = viewOf([60, 40, 50], { kind: 'coordinator' });
    expect(countStep).toBe(1);
    expect(measures[0]?.survivalDifferences).toHaveProperty('statistic', expect.any(Number));
  });

  it('tells a share that few losses bring about only by a range', () => {
    const pool = pooledAnswer(centresOf([60, 40, 50]), DEFINITION, 1);
    const view = memberView(pool, { kind: 'reader' }, { smallestCell: 10, recordsShared: false });
    pool.measures.forEach((measure, m) => {
      measure.competing.forEach(({ year, lostByCentre, lost: exact }) => {
        const shown = view.measures[m]?.competing.find((one) => one.year === year)?.lost;
        if (shown === undefined || exact.probability === null) return;
        if (mayShowPool(lostByCentre, 10)) expect(shown.probability).not.toBeNull();
        else {
          expect(shown.probability).toBeNull();
          expect(exact.probability).toBeGreaterThanOrEqual(shown.lower ?? NaN);
          expect(exact.probability).toBeLessThanOrEqual(shown.upper ?? NaN);
        }
      });
    });
    expect(view.measures[0]?.competing.some(({ lost }) => lost.probability === null)).toBe(true);
  });

  it('shows the coordinator the rows of centres, but never hides one row alone', () => {
    const { measures } = viewOf([60, 40, 9], { kind: 'coordinator' });
    const share = measures[0]?.quantities.find(({ kind }) => kind === 'lasting');
    expect(share?.rows.map(({ centre }) => centre)).toEqual(['centre-0']);
    expect(share?.rowsWithheld).toBe(2);
    expect(viewOf([60, 40, 50], { kind: 'coordinator' }).measures[0]?.flowByCentre).toHaveLength(3);
  });

  it('shows centres to each other where the study agreement shares records', () => {
    const text = JSON.stringify(
      viewOf([60, 40, 50], { kind: 'centre', centre: 'centre-1' }, { recordsShared: true }),
    );
    expect(text).toContain('centre-2');
  });
});
