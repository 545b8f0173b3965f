import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { refuse } from '../numeric';
import { cellTotal, isSmall, mayShowPool, type CellByCentre } from './cells';
import type { PooledMeasure } from './pooled-answer';
import { NOT_SEEN_REASONS } from './pooled-flow';
import { FLOW_WIDTH, flowCells } from './flow-view';
import { printedCounts, type PrintedCounts } from './printed-counts';

const SMALLEST = 10;
const YEARS = [1, 2, 4];
const NO = refuse('not-here', 'Not part of this test.');

/** An invented patient, by what the counts of a measure ask. */
const patient = fc.record({
  centre: fc.nat({ max: 3 }),
  hasGains: fc.double({ min: 0, max: 1, noNaN: true }),
  isJudged: fc.double({ min: 0, max: 1, noNaN: true }),
  group: fc.constantFrom('A', 'B', 'C', null),
  followed: fc.double({ min: 0, max: 6, noNaN: true }),
  passed: fc.double({ min: 0, max: 6, noNaN: true }),
  seen: fc.array(fc.double({ min: 0, max: 1, noNaN: true }), { minLength: 3, maxLength: 3 }),
});
type Patient = typeof patient extends fc.Arbitrary<infer Value> ? Value : never;

const inGains = ({ hasGains }: Patient): boolean => hasGains > 0.06;
const inRiskSet = (one: Patient): boolean => inGains(one) && one.isJudged > 0.08;
const atRisk = (one: Patient, year: number): boolean => inRiskSet(one) && one.followed >= year;
const eligible = ({ passed }: Patient, year: number): boolean => passed >= year;
const seen = (one: Patient, year: number): boolean =>
  eligible(one, year) && (one.seen[YEARS.indexOf(year)] ?? 0) > 0.2;
const measured = (one: Patient, year: number): boolean =>
  seen(one, year) && (one.seen[YEARS.indexOf(year)] ?? 0) > 0.25;
const read = (one: Patient, year: number): boolean => measured(one, year) && inGains(one);

function count(patients: readonly Patient[], isIn: (one: Patient) => boolean): number[] {
  return [0, 1, 2, 3].map((centre) => patients.filter((one) => one.centre === centre && isIn(one)).length);
}

/** Only the counts are read; the estimates are all refused. */
function measureOf(patients: readonly Patient[]): PooledMeasure {
  const pool = { scale: 'identity' as const, rows: [], twoStage: NO, withoutOne: NO, oneStage: NO };
  const centres = [0, 1, 2, 3].map((centre) => {
    const own = patients.filter((one) => one.centre === centre);
    const reasons = [
      { reason: 'no-follow-up' as const, patients: own.filter((p) => inGains(p) && !inRiskSet(p)).length },
      { reason: 'no-reference' as const, patients: own.filter((p) => !inGains(p)).length },
    ];
    return {
      centre: String(centre),
      treated: own.length,
      untreated: 0,
      methodError: null,
      reference: { kind: 'common' as const, children: 0 },
      leftOut: reasons.filter((one) => one.patients > 0),
      inRiskSet: own.filter(inRiskSet).length,
      withGains: own.filter(inGains).length,
    };
  });
  const flowOf = (year: number, own: readonly Patient[]) => {
    const numbers = {
      eligible: own.filter((p) => eligible(p, year)).length,
      seen: own.filter((p) => seen(p, year)).length,
      measured: own.filter((p) => measured(p, year)).length,
    };
    const missing = numbers.eligible - numbers.seen;
    return {
      ...numbers,
      notSeen: {
        withdrew: 0,
        moved: missing % 4,
        declined: 0,
        'treated-again': 0,
        'no-consent': 0,
        'not-known': missing - (missing % 4),
      },
    };
  };
  return {
    measure: 'Co-Gn',
    centres,
    flow: YEARS.map((year) => {
      const byCentre = [0, 1, 2, 3].map((centre) => ({
        centre: String(centre),
        ...flowOf(
          year,
          patients.filter((one) => one.centre === centre),
        ),
      }));
      return { year, ...flowOf(year, patients), byCentre };
    }),
    retention: YEARS.map((year) => ({
      ...pool,
      year,
      leftOut: count(patients, (one) => read(one, year)).map((own, c) => ({
        centre: String(c),
        patients: own,
        why: NO,
      })),
    })),
    survival: [],
    atRisk: YEARS.map((year) => ({ year, byCentre: count(patients, (one) => atRisk(one, year)) })),
    survivalDifferences: NO,
    groups: {
      groups: ['A', 'B', 'C'].map((label) => ({
        label,
        patients: 0,
        byCentre: count(patients, (one) => inRiskSet(one) && one.group === label),
        atYears: YEARS.map((year) => ({
          year,
          oneStage: NO,
          atRiskByCentre: count(patients, (one) => atRisk(one, year) && one.group === label),
        })),
      })),
      unknownByCentre: count(patients, (one) => inRiskSet(one) && one.group === null),
      test: NO,
    },
    competing: [],
    separation: {
      lasting: { ...pool, leftOut: [] },
      forward: { ...pool, leftOut: [] },
      lastingShare: { ...pool, leftOut: [] },
      spread: NO,
      differences: NO,
    },
  };
}

interface Printed {
  readonly name: string;
  /** Null where it is withheld. */
  readonly shown: number | null;
  readonly cell: CellByCentre;
  readonly isIn: (one: Patient) => boolean;
}

/** Everything that is printed, each with the patients whom it counts. */
function everythingPrinted(patients: readonly Patient[], counts: PrintedCounts): Printed[] {
  const print = (name: string, shown: number | null, isIn: (one: Patient) => boolean): Printed => ({
    name,
    shown,
    isIn,
    cell: count(patients, isIn),
  });
  const flow = measureOf(patients).flow;
  return [
    print('treated', counts.treated, () => true),
    print('in the risk set', counts.inRiskSet, inRiskSet),
    print('with gains', counts.withGains, inGains),
    ...YEARS.flatMap((year, y) => {
      const hidden = counts.flowHidden[y];
      const total = (place: number): number | null =>
        hidden?.has(place) === true
          ? null
          : cellTotal(flow[y] === undefined ? [] : (flowCells(flow[y])[place] ?? []));
      return [
        print(`at risk ${year}`, counts.atRisk[y] ?? null, (one) => atRisk(one, year)),
        print(`read ${year}`, counts.retention[y] ?? null, (one) => read(one, year)),
        print(`eligible ${year}`, total(0), (one) => eligible(one, year)),
        print(`seen ${year}`, total(1), (one) => seen(one, year)),
        print(`measured ${year}`, total(FLOW_WIDTH.measured), (one) => measured(one, year)),
      ];
    }),
    ...['A', 'B', 'C'].flatMap((label, g) => [
      print(
        `group ${label}`,
        counts.groups[g]?.patients ?? null,
        (one) => inRiskSet(one) && one.group === label,
      ),
      ...YEARS.map((year, y) =>
        print(
          `group ${label} at risk ${year}`,
          counts.groups[g]?.atYears[y] ?? null,
          (one) => atRisk(one, year) && one.group === label,
        ),
      ),
    ]),
  ];
}

/** A number that somebody has worked out, less what each centre knows of its own, speaks of nobody or of enough. */
function expectHarmless(cell: CellByCentre, how: string): void {
  const total = cellTotal(cell);
  for (const own of [0, ...cell])
    expect(isSmall(total - own, SMALLEST), `${how}: ${cell.join(' ')}`).toBe(false);
}

/** Whether all of one number are in another whatever the patients, so that anybody may take the one from the other. */
function liesWithin(part: string, whole: string): boolean {
  if (part === whole) return false;
  if (whole === 'treated') return true;
  if (whole === 'with gains') return /risk|read|group/.test(part);
  if (whole === 'in the risk set') return /^at risk|^group/.test(part);
  const [inner, outer] = [partsOfName(part), partsOfName(whole)];
  if (FLOW_ORDER.includes(inner.kind) && FLOW_ORDER.includes(outer.kind)) {
    const isFurther = FLOW_ORDER.indexOf(inner.kind) > FLOW_ORDER.indexOf(outer.kind);
    return inner.year === outer.year ? isFurther : outer.kind === 'eligible' && inner.year > outer.year;
  }
  const isSameGroup = outer.group === '' || outer.group === inner.group;
  return /risk/.test(inner.kind) && /risk|group/.test(outer.kind) && isSameGroup && inner.year >= outer.year;
}

const FLOW_ORDER = ['eligible', 'seen', 'measured', 'read'];

function partsOfName(name: string): { readonly kind: string; readonly group: string; readonly year: number } {
  const group = /^group (.)/.exec(name)?.[1] ?? '';
  const year = Number(/\d+$/.exec(name)?.[0] ?? 0);
  return { kind: name.replace(/ \d+$/, ''), group, year };
}

const series = fc.array(patient, { minLength: 60, maxLength: 400 });

describe('The numbers that are printed of a pool', () => {
  it('never give away few patients by taking one from another, whoever takes off the own ones', () => {
    let shownAtAll = 0;
    fc.assert(
      fc.property(series, (patients) => {
        const counts = printedCounts(measureOf(patients), (cell) => mayShowPool(cell, SMALLEST));
        const printed = everythingPrinted(patients, counts).filter(({ shown }) => shown !== null);
        shownAtAll += printed.length;
        for (const { name, shown, cell } of printed) {
          expect(shown, name).toBe(cellTotal(cell));
          expectHarmless(cell, name);
        }
        for (const whole of printed) {
          for (const part of printed) {
            if (!liesWithin(part.name, whole.name)) continue;
            expectHarmless(
              whole.cell.map((own, c) => own - (part.cell[c] ?? 0)),
              `${whole.name} less ${part.name}`,
            );
          }
        }
      }),
      { numRuns: 150, endOnFailure: true },
    );
    expect(shownAtAll).toBeGreaterThan(150 * 3);
  });

  it('never give away those of no recorded group, a reason, or those not measured by adding up the others', () => {
    fc.assert(
      fc.property(series, (patients) => {
        const measure = measureOf(patients);
        const counts = printedCounts(measure, (cell) => mayShowPool(cell, SMALLEST));
        const { groups } = counts;
        if (counts.inRiskSet !== null && groups.every((group) => group.patients !== null)) {
          expectHarmless(measure.groups.unknownByCentre, 'of no group');
        }
        const missing = counts.leftOut.filter((one) => one.patients === null);
        const [only] = missing;
        if (
          counts.treated !== null &&
          counts.inRiskSet !== null &&
          missing.length === 1 &&
          only !== undefined
        ) {
          expectHarmless(
            measure.centres.map(
              (one) => one.leftOut.find((part) => part.reason === only.reason)?.patients ?? 0,
            ),
            only.reason,
          );
        }
        measure.flow.forEach((year, y) => {
          const hidden = counts.flowHidden[y] ?? new Set<number>();
          const reasons = NOT_SEEN_REASONS.map((_, i) => FLOW_WIDTH.all - NOT_SEEN_REASONS.length + i);
          const unseen = [1, ...reasons].filter((place) => hidden.has(place));
          const [place] = unseen;
          if (hidden.has(0) || unseen.length !== 1 || place === undefined) return;
          expectHarmless(flowCells(year)[place] ?? [], `flow ${year.year} place ${place}`);
        });
      }),
      { numRuns: 150, endOnFailure: true },
    );
  });
});
