import { describe, expect, it } from 'vitest';
import { studyDefinitionSchema } from '@longhold/core/contribution';
import {
  allCentreEstimates,
  gainSums,
  pooledAnswer,
  sortedSums,
  type CentreInPool,
  type CentreStatistics,
  type LossCount,
  type RetentionSums,
} from '@longhold/core/pooled';
import { isRefusal, type Refusal } from '@longhold/core/numeric';
import { expectAllClose, expectClose, expectWithin } from './closeness';
import { readFixture } from './fixture';
import { CLOSED_FORM, MAXIMUM_HEIGHT, MAXIMUM_PLACE, TURNBULL_MASS, VARIANCE_COMPONENT } from './tolerances';

interface Mean {
  readonly estimate: number;
  readonly lower: number;
  readonly upper: number;
  readonly tauSquared: number;
}

interface Fixture {
  readonly gains: Readonly<Record<'centre' | 'patient' | 'time' | 'velocity' | 'gain', readonly number[]>>;
  readonly losses: {
    readonly centre: readonly number[];
    readonly left: readonly number[];
    readonly right: readonly (number | null)[];
  };
  readonly retention: Mean & {
    readonly year: number;
    readonly patients: readonly number[];
    readonly share: readonly number[];
    readonly tauSquaredLimits: readonly number[];
    readonly iSquared: number;
    readonly q: number;
    readonly qP: number;
    readonly weights: readonly number[];
    readonly prediction: readonly number[];
    readonly without: Readonly<Record<'estimate' | 'lower' | 'upper', readonly number[]>>;
    readonly oneStage: { readonly estimate: number; readonly limits: readonly number[] };
  };
  readonly survival: { readonly years: readonly number[]; readonly estimate: readonly number[] };
  readonly clock: {
    readonly estimate: readonly number[];
    readonly standardError: readonly number[];
    readonly patientSd: readonly number[];
    readonly centreSd: readonly number[];
    readonly residualSd: number;
    readonly likelihoodRatio: number;
    readonly own: readonly {
      readonly estimate: readonly number[];
      readonly standardError: readonly number[];
    }[];
    readonly lasting: Mean;
    readonly forward: Mean;
  };
}

const FIXTURE = readFixture<Fixture>('pooled');
const MEASURE = 'Co-Gn';
const DEFINITION = studyDefinitionSchema.parse({
  measures: [MEASURE],
  threshold: { kind: 'share', share: 0.75 },
  rule: 'any-visit',
  reference: { kind: 'built-in-table' },
  groupBy: 'sex',
  protocols: [],
  years: [...FIXTURE.survival.years],
  coarsening: {},
});

interface Row {
  readonly time: number;
  readonly velocity: number;
  readonly gain: number;
}

/** The rows of each patient of one centre. */
function patientsOf(centre: number): Row[][] {
  const { gains } = FIXTURE;
  const rows = new Map<number, Row[]>();
  gains.centre.forEach((own, i) => {
    if (own !== centre) return;
    const row = {
      time: gains.time[i] ?? NaN,
      velocity: gains.velocity[i] ?? NaN,
      gain: gains.gain[i] ?? NaN,
    };
    rows.set(gains.patient[i] ?? NaN, [...(rows.get(gains.patient[i] ?? NaN) ?? []), row]);
  });
  return [...rows.values()];
}

function retentionOf(patients: readonly (readonly Row[])[], year: number): RetentionSums {
  const pairs = patients.flatMap((rows) => {
    const end = rows.find(({ time }) => time === 0)?.gain;
    const now = rows.find(({ time }) => time === year)?.gain;
    return end === undefined || now === undefined ? [] : [{ end, now }];
  });
  const sum = (of: (pair: { end: number; now: number }) => number): number =>
    pairs.reduce((total, pair) => total + of(pair), 0);
  const [end, now] = [sum((pair) => pair.end), sum((pair) => pair.now)];
  const n = pairs.length;
  return {
    year,
    patients: n,
    end,
    now,
    scatter: {
      end: sum((pair) => (pair.end - end / n) ** 2),
      both: sum((pair) => (pair.end - end / n) * (pair.now - now / n)),
      now: sum((pair) => (pair.now - now / n) ** 2),
    },
    curve: { end: 0, both: 0, now: 0 },
  };
}

function lossesOf(centre: number): LossCount[] {
  const { losses } = FIXTURE;
  return losses.centre.flatMap((own, i) =>
    own === centre
      ? [{ group: null, left: losses.left[i] ?? NaN, right: losses.right[i] ?? null, patients: 1 }]
      : [],
  );
}

function centreOf(centre: number): CentreInPool {
  const patients = patientsOf(centre);
  const statistics: CentreStatistics = {
    form: 1,
    definition: 1,
    software: '0.1.0',
    flow: {
      treated: null,
      contributed: patients.length,
      withoutConsent: null,
      withoutEnd: null,
      withoutStart: null,
      withoutAge: null,
      outsideLimits: null,
      tooFewAlike: null,
    },
    treated: patients.length,
    untreated: 0,
    measures: [
      {
        measure: MEASURE,
        methodError: null,
        reference: { kind: 'common', children: 0 },
        leftOut: [],
        flow: [],
        retention: DEFINITION.years.map((year) => retentionOf(patients, year)),
        losses: lossesOf(centre),
        endings: [],
        separation: {
          patients: sortedSums(patients.map(gainSums)),
          endVelocity: patients.reduce((sum, rows) => sum + (rows[0]?.velocity ?? NaN), 0),
          endPatients: patients.length,
          curve: null,
        },
      },
    ],
  };
  return { centre: `centre ${centre}`, statistics, estimates: allCentreEstimates(statistics, DEFINITION) };
}

function answered<Answer extends object>(result: Answer | Refusal | undefined): Answer {
  if (result === undefined) throw new Error('nothing there');
  if (isRefusal(result)) throw new Error(result.message);
  return result;
}

describe('a pool of centres, from their statistics, agrees with R from the rows', () => {
  const centres = [...new Set(FIXTURE.gains.centre)].map(centreOf);
  const [pooled] = pooledAnswer(centres, DEFINITION, 1).measures;
  if (pooled === undefined) throw new Error('no measure');

  it('in the retained share: random effects, prediction, heterogeneity, each centre left out (metafor)', () => {
    const expected = FIXTURE.retention;
    const share = answered(pooled.retention.find(({ year }) => year === expected.year));
    expectAllClose(
      share.rows.map(({ estimate }) => estimate),
      expected.share,
      CLOSED_FORM,
    );
    expect(share.rows.map(({ patients }) => patients)).toEqual(expected.patients);
    const mean = answered(share.twoStage);
    expectClose(mean.estimate, expected.estimate, MAXIMUM_PLACE, 'mean');
    expectClose(mean.limits.lower, expected.lower, MAXIMUM_PLACE, 'lower limit');
    expectClose(mean.limits.upper, expected.upper, MAXIMUM_PLACE, 'upper limit');
    expectWithin(mean.tauSquared, expected.tauSquared, 1e-9, 'tau squared');
    expectAllClose(
      [mean.tauSquaredLimits.lower, mean.tauSquaredLimits.upper],
      expected.tauSquaredLimits,
      MAXIMUM_PLACE,
      'limits of tau squared',
      1e-6,
    );
    expectWithin(mean.iSquared, expected.iSquared, 1e-6, 'I squared');
    expectClose(mean.q, expected.q, CLOSED_FORM, 'Q');
    expectClose(mean.qP, expected.qP, CLOSED_FORM, 'p of Q');
    expectAllClose(
      [mean.prediction?.lower ?? NaN, mean.prediction?.upper ?? NaN],
      expected.prediction,
      MAXIMUM_PLACE,
    );
    expectAllClose(
      share.rows.map(({ weight }) => weight ?? NaN),
      expected.weights,
      MAXIMUM_PLACE,
      'weights',
    );
    const without = answered(share.withoutOne);
    for (const key of ['estimate', 'lower', 'upper'] as const) {
      const found = without.map(({ estimate, limits }) => (key === 'estimate' ? estimate : limits[key]));
      expectAllClose(found, expected.without[key], MAXIMUM_PLACE, `without one, ${key}`);
    }
  });

  it("in the retained share of all patients together, with Fieller's set", () => {
    const { year, oneStage } = FIXTURE.retention;
    const found = answered(answered(pooled.retention.find((one) => one.year === year)).oneStage);
    expectClose(found.estimate, oneStage.estimate, CLOSED_FORM);
    const { interval } = found;
    if (interval.kind !== 'bounded') throw new Error('not bounded');
    expectAllClose([interval.lower, interval.upper], oneStage.limits, CLOSED_FORM);
  });

  it('in the interval-censored curve of all patients (self-consistency and Newton steps in R)', () => {
    const found = pooled.survival.map(({ oneStage }) => answered(oneStage).estimate);
    found.forEach((value, i) => expectWithin(value, FIXTURE.survival.estimate[i] ?? NaN, TURNBULL_MASS));
  });

  it("in each centre's lasting and earlier gain and their random-effects means (lme4, metafor)", () => {
    const { own, lasting, forward } = FIXTURE.clock;
    for (const [place, part, mean] of [
      [0, pooled.separation.lasting, lasting],
      [1, pooled.separation.forward, forward],
    ] as const) {
      expectAllClose(
        part.rows.map(({ estimate }) => estimate),
        own.map(({ estimate }) => estimate[place] ?? NaN),
        VARIANCE_COMPONENT,
      );
      const found = answered(part.twoStage);
      expectClose(found.estimate, mean.estimate, VARIANCE_COMPONENT, 'mean');
      expectClose(found.limits.lower, mean.lower, 20 * VARIANCE_COMPONENT, 'lower limit');
      expectClose(found.limits.upper, mean.upper, 20 * VARIANCE_COMPONENT, 'upper limit');
      expectClose(found.tauSquared, mean.tauSquared, 20 * VARIANCE_COMPONENT, 'tau squared');
    }
  });

  it('in the one model of all gains with patients within centres, and the test that centres are alike (lme4)', () => {
    const expected = FIXTURE.clock;
    const { lasting, forward, spread, differences } = pooled.separation;
    expectAllClose(
      [answered(lasting.oneStage).estimate, answered(forward.oneStage).estimate],
      expected.estimate,
      VARIANCE_COMPONENT,
    );
    const { patients, centres: between, residual } = answered(spread);
    expectAllClose([patients.lasting, patients.forward], expected.patientSd, 20 * VARIANCE_COMPONENT);
    expectAllClose([between.lasting, between.forward], expected.centreSd, 20 * VARIANCE_COMPONENT);
    expectClose(residual, expected.residualSd, VARIANCE_COMPONENT);
    const test = answered(differences);
    expect(test.degreesOfFreedom).toBe(6);
    expectClose(test.statistic, expected.likelihoodRatio, 1e3 * MAXIMUM_HEIGHT, 'likelihood ratio');
  });
});
