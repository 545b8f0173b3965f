import { describe, expect, it } from 'vitest';
import { answerPrepared } from '../answers';
import { drawnLosses } from '../answers/drawn-losses';
import { patientContrasts } from '../answers/patient-outcome';
import { prepareContributed } from '../contribution/pooled-question';
import type { StudyDefinition } from '../contribution/study-definition';
import { resampledVariance } from '../numeric';
import { orderedIntervals, quickCurve } from '../survival';
import { rankScores } from '../survival/interval-censored/rank-scores';
import { centreMoves } from './centre-differences';
import { centreStatisticsSchema, SHARED_DRAWS, type CentreDoubt } from './centre-statistics';
import { movedSd, ownVariance } from './curve-moves';
import { impossibleStatistics } from './impossible-statistics';
import { centreOf, INVENTED_SHEET, inventedDefinition, inventedRecords } from './invented-centres.fixture';
import { patientsKnown } from './loss-times';
import { allCentreEstimates, pooledAnswer, type CentreInPool, type PooledMeasure } from './pooled-answer';

const FLOOR = { threshold: { kind: 'floor', amount: 2 }, rule: 'any-visit' } as const;
const SHARED = inventedDefinition(FLOOR, 'uncertain');
/** A table of so many children that its error moves curves a little, as first order asks. */
const LARGE = withChildren(SHARED, 1000);
const OWN = inventedDefinition({ ...FLOOR, reference: { kind: 'own-untreated-series' } });
const SERIES = [
  inventedRecords({ patients: 90, seed: 11, untreated: 40 }),
  inventedRecords({ patients: 60, seed: 12, lasting: 2.2, untreated: 40 }),
  inventedRecords({ patients: 150, seed: 13, forward: 0.7, untreated: 40 }),
];

function withChildren(definition: StudyDefinition, n: number): StudyDefinition {
  const { reference } = definition;
  if (reference.kind !== 'growth-table') throw new Error('no table');
  const rows = reference.table.rows.map((row) => ({ ...row, n }));
  return { ...definition, reference: { ...reference, table: { ...reference.table, rows } } };
}

function pool(definition: StudyDefinition, series = SERIES): CentreInPool[] {
  return series.map((records, i) => centreOf(`c${i}`, records, definition));
}

function only(centres: readonly CentreInPool[], definition: StudyDefinition): PooledMeasure {
  const [measure] = pooledAnswer(centres, definition, 1).measures;
  if (measure === undefined) throw new Error('no measure');
  return measure;
}

function doubtOf({ statistics }: CentreInPool): CentreDoubt {
  const doubt = statistics.measures[0]?.doubt;
  if (doubt === undefined) throw new Error('no doubt');
  return doubt;
}

/** The centre as a program sends it that does not know the field. */
function without(centre: CentreInPool, definition: StudyDefinition): CentreInPool {
  const measures = centre.statistics.measures.map(({ doubt: _doubt, ...rest }) => rest);
  const statistics = centreStatisticsSchema.parse({ ...centre.statistics, measures });
  return { ...centre, statistics, estimates: allCentreEstimates(statistics, definition) };
}

/** Width of the one-stage limits of survival at each year. */
function widths({ survival }: PooledMeasure): number[] {
  return survival.map(({ oneStage }) => {
    if (!('interval' in oneStage) || oneStage.interval.kind !== 'bounded') throw new Error('no limits');
    return oneStage.interval.upper - oneStage.interval.lower;
  });
}

describe('a pool where growth is known', () => {
  it('has the numbers to the last digit that it has without any doubt in its statistics', () => {
    const definition = inventedDefinition(FLOOR, 'known');
    const centres = pool(definition);
    for (const centre of centres) {
      const { survival, groups, scores, incidence, carried } = doubtOf(centre);
      expect({ survival, groups, scores, incidence }).toEqual({
        survival: null,
        groups: [],
        scores: null,
        incidence: null,
      });
      expect(carried).toEqual({ growthReference: 'not-known', methodError: 'none' });
    }
    const former = only(
      centres.map((one) => without(one, definition)),
      definition,
    );
    expect(only(centres, definition)).toEqual({ ...former, carried: only(centres, definition).carried });
  });
});

describe('a pool where growth is estimated', () => {
  it.each([
    ['each from its own children', OWN],
    ['all from one table', SHARED],
  ] as const)('has wider limits everywhere and larger p: %s', (_, definition) => {
    const centres = pool(definition);
    const with_ = only(centres, definition);
    const former = only(
      centres.map((one) => without(one, definition)),
      definition,
    );
    widths(with_).forEach((width, i) => expect(width).toBeGreaterThan(1.02 * (widths(former)[i] ?? NaN)));
    with_.competing.forEach(({ lost }, i) => {
      const known = former.competing[i]?.lost;
      expect(lost.probability).toBe(known?.probability);
      expect(lost.standardError ?? NaN).toBeGreaterThan(known?.standardError ?? NaN);
      expect(lost.lower ?? NaN).toBeLessThan(known?.lower ?? NaN);
    });
    const p = ({ groups: { test } }: PooledMeasure): number => ('p' in test ? test.p : NaN);
    expect(p(with_)).toBeGreaterThan(p(former));
    const differ = ({ survivalDifferences: test }: PooledMeasure): number => ('p' in test ? test.p : NaN);
    expect(differ(with_)).toBeGreaterThan(differ(former));
    with_.groups.groups.forEach(({ atYears }, g) =>
      atYears.forEach(({ oneStage }, y) => {
        const known = former.groups.groups[g]?.atYears[y]?.oneStage;
        if (!('interval' in oneStage) || known === undefined || !('interval' in known)) return;
        if (oneStage.interval.kind !== 'bounded' || known.interval.kind !== 'bounded') return;
        expect(oneStage.estimate).toBe(known.estimate);
        expect(oneStage.interval.lower).toBeLessThan(known.interval.lower);
      }),
    );
  });

  it('of one centre has the limits of that clinic, within what resampling leaves open', () => {
    for (const definition of [OWN, SHARED]) {
      const [records = []] = SERIES;
      const pooled = only([centreOf('a', records, definition)], definition);
      const prepared = prepareContributed(records, INVENTED_SHEET.methodErrors, definition, 'Co-Gn');
      const question = { ...prepared.question, resamples: 1000 };
      const clinic = answerPrepared({ ...prepared, question });
      for (const { year, oneStage } of pooled.survival) {
        const own = clinic.survival?.turnbull.atYears.find((one) => one.year === year);
        if (!('interval' in oneStage) || oneStage.interval.kind !== 'bounded') throw new Error('no limits');
        expect(oneStage.estimate).toBeCloseTo(own?.estimate ?? NaN, 6);
        const width = oneStage.interval.upper - oneStage.interval.lower;
        // 200 resamples of patients and 60 draws of growth: 12 % of a width is two of its standard errors.
        expect(width / ((own?.limits?.upper ?? NaN) - (own?.limits?.lower ?? NaN))).toBeGreaterThan(0.88);
        expect(width / ((own?.limits?.upper ?? NaN) - (own?.limits?.lower ?? NaN))).toBeLessThan(1.12);
      }
    }
  });
});

/** The losses of every centre under draws of growth; the same draws where `seed` is the same in all. */
function redrawn(definition: StudyDefinition, draws: number) {
  return SERIES.map((records, c) => {
    const prepared = prepareContributed(records, INVENTED_SHEET.methodErrors, definition, 'Co-Gn');
    const treated = prepared.study.filter(({ patient }) => patient.group === 'treated');
    const question = { ...prepared.question, seed: definition === OWN ? 77 + c : 77 };
    const contrasts = treated.flatMap(
      (history) => patientContrasts(history, prepared.question, prepared.yardstick) ?? [],
    );
    const drawn = drawnLosses(contrasts, { ...prepared, question }, [{ parts: ['growth-reference'], draws }]);
    if (drawn === null) throw new Error('nothing drawn');
    return { drawn };
  });
}

/** Everybody's times under one draw, as columns with the centre of each. */
function timesUnder(centres: ReturnType<typeof redrawn>, draw: number) {
  const rows = centres.flatMap(({ drawn }, centre) => {
    const { left, right } = drawn.times(draw);
    return Array.from(left, (from, i) => ({ centre, left: from, right: right[i] ?? NaN })).filter(
      (row) => !Number.isNaN(row.left),
    );
  });
  return {
    left: rows.map(({ left }) => left),
    right: rows.map(({ right }) => right),
    centre: rows.map(({ centre }) => centre),
  };
}

describe.each([
  ['own curves', OWN],
  ['a shared table', LARGE],
] as const)('what the pool works out from the moves of centres under %s', (_, definition) => {
  const DRAWS = 200;
  const centres = pool(definition);
  const members = centres.flatMap(({ centre, statistics, estimates }) => {
    const [own, estimated] = [statistics.measures[0], estimates[0]];
    return own === undefined || estimated === undefined
      ? []
      : [{ centre, statistics: own, estimates: estimated }];
  });
  const drawn = redrawn(definition, DRAWS);
  const years = [1, 2, 3, 5];

  it('is how far the curve of all moves when the records of all are read anew', () => {
    const curves = Array.from({ length: DRAWS }, (__, draw) => {
      const times = timesUnder(drawn, draw);
      return (
        quickCurve(orderedIntervals(times), new Float64Array(times.left.length).fill(1), years) ??
        new Float64Array()
      );
    });
    years.forEach((year, i) => {
      const parts = members.map(({ statistics: { losses, doubt } }) => ({
        patients: patientsKnown(losses, year),
        moves: doubt?.survival ?? null,
      }));
      const exact = Math.sqrt(resampledVariance(curves.map((curve) => curve[i] ?? NaN)));
      // 60 and 200 draws: three standard errors of the ratio of two standard deviations are 31 %.
      expect(movedSd(parts, i) / exact).toBeGreaterThan(0.69);
      expect(movedSd(parts, i) / exact).toBeLessThan(1.31);
    });
  });

  it('is how far the scores of the centres move when the records of all are read anew', () => {
    const scores = Array.from({ length: DRAWS }, (__, draw) => {
      const times = timesUnder(drawn, draw);
      const own = rankScores(times, 'sun');
      return centres.map((___, c) =>
        own.reduce((sum, score, i) => sum + (times.centre[i] === c ? score : 0), 0),
      );
    });
    const found = centreMoves(members, years) ?? [];
    centres.forEach((__, c) => {
      const exact = Math.sqrt(resampledVariance(scores.map((row) => row[c] ?? NaN)));
      const ratio = Math.sqrt(found[c]?.[c] ?? NaN) / exact;
      expect(ratio).toBeGreaterThan(0.7);
      expect(ratio).toBeLessThan(1.4);
      // All scores add up to zero, however they move.
      expect(found.reduce((sum, row) => sum + (row[c] ?? NaN), 0)).toBeCloseTo(0, 6);
    });
  });
});

describe('what a centre gives of its doubt', () => {
  it('moves under the same draws of a shared table at every centre, and has none of them for its own children', () => {
    for (const centre of pool(SHARED)) {
      expect(doubtOf(centre).survival?.shared).toHaveLength(SHARED_DRAWS);
      expect(doubtOf(centre).survival?.own.every((value) => value === 0)).toBe(true);
    }
    for (const centre of pool(OWN)) {
      const { survival } = doubtOf(centre);
      expect(survival?.shared).toEqual([]);
      expect(survival === null ? NaN : ownVariance(survival, 0)).toBeGreaterThan(0);
    }
    const twice = pool(SHARED, [SERIES[0] ?? [], SERIES[0] ?? []]);
    expect(twice[0]?.statistics).toEqual(twice[1]?.statistics);
  });

  it('holds scores that add up to nothing over the groups', () => {
    const [centre] = pool(SHARED);
    if (centre === undefined) throw new Error('no centre');
    const { scores } = doubtOf(centre);
    for (const draw of scores?.moves.shared ?? []) {
      expect(draw.reduce((sum, score) => sum + score, 0)).toBeCloseTo(0, 3);
    }
    expect(scores?.moves.shared.some(([first = 0]) => Math.abs(first) > 0.1)).toBe(true);
  });

  it('holds no curve of fewer patients than the smallest cell, nor of a group that is the rest of such a one', () => {
    const [records = []] = SERIES;
    const treated = records.filter(({ group }) => group === 'treated');
    const boys = treated.filter(({ sex }) => sex === 'male');
    const girls = treated.filter(({ sex }) => sex === 'female');
    const few = centreOf('a', [...boys, ...girls.slice(0, 9)], SHARED);
    expect(few.statistics.measures[0]?.losses.some(({ group }) => group === 'Girls')).toBe(true);
    expect(doubtOf(few)).toMatchObject({ groups: [], scores: null });
    expect(doubtOf(few).survival).not.toBeNull();
    const small = centreOf('a', treated.slice(0, 9), SHARED);
    expect(doubtOf(small)).toMatchObject({ survival: null, groups: [], scores: null, incidence: null });
  });

  it('says no more of a year with few than of the last year with enough', () => {
    const [centre] = pool({ ...SHARED, smallestCell: 30 });
    if (centre === undefined) throw new Error('no centre');
    const atRisk = centre.estimates[0]?.survival.map(({ patients }) => patients) ?? [];
    const last = atRisk.findLastIndex((patients) => patients >= 30);
    expect(last).toBeGreaterThanOrEqual(0);
    expect(last).toBeLessThan(atRisk.length - 1);
    for (const draw of doubtOf(centre).survival?.shared ?? []) {
      for (let year = last + 1; year < draw.length; year++) expect(draw[year]).toBe(draw[last]);
    }
  });

  it('is refused where no records can give it', () => {
    const [centre] = pool(SHARED);
    const measure = centre?.statistics.measures[0];
    if (centre === undefined || measure === undefined) throw new Error('no centre');
    const doubt = doubtOf(centre);
    const faultsOf = (other: CentreDoubt): number =>
      impossibleStatistics({ ...centre.statistics, measures: [{ ...measure, doubt: other }] }, SHARED).length;
    const survival = doubt.survival ?? { own: [], shared: [] };
    expect(faultsOf(doubt)).toBe(0);
    expect(faultsOf({ ...doubt, survival: { ...survival, shared: survival.shared.slice(1) } })).toBe(1);
    expect(faultsOf({ ...doubt, survival: { ...survival, own: survival.own.map(() => 2) } })).toBe(1);
    expect(faultsOf({ ...doubt, groups: doubt.groups.map((one) => ({ ...one, group: 'A name' })) })).toBe(1);
  });
});

it('lasting gain is not read from a table whose growth rates are not sure enough, as in a clinic', () => {
  const centres = pool(withChildren(SHARED, 30));
  const { separation } = only(centres, withChildren(SHARED, 30));
  expect(separation.lasting.leftOut.map(({ why }) => why.refused)).toEqual(Array(3).fill('unsure-velocity'));
  expect(separation.lasting.oneStage).toMatchObject({ refused: 'unsure-velocity' });
  const sure = withChildren(SHARED, 1_000_000);
  expect(only(pool(sure), sure).separation.lasting.oneStage).toHaveProperty('estimate');
});
