import { studyDefinitionSchema, type PooledRecord, type StudyDefinition } from '@longhold/core/contribution';
import {
  allCentreEstimates,
  centreStatistics,
  poolCentres,
  pooledAnswer,
  type CentreInPool,
} from '@longhold/core/pooled';
import { isRefusal } from '@longhold/core/numeric';
import { sexSchema, type Sex } from '@longhold/core/records';
import { describe, expect, it } from 'vitest';
import { expectClose, expectWithin } from './closeness';
import { readFixture } from './fixture';
import { MAXIMUM_PLACE, TURNBULL_MASS } from './tolerances';

/*
 * Outside: r/pooled-doubt.R, which resamples the patients of a pool and the means of the growth table that its centres
 * share by its own random numbers, and works the mean over centres with metafor. All data invented.
 */
interface Limits {
  readonly lower: number[];
  readonly upper: number[];
}
interface PooledDoubtFixture {
  readonly ages: number[];
  readonly means: Record<Sex, number[]>;
  readonly sd: number;
  readonly children: number;
  readonly floor: number;
  readonly level: number;
  readonly resamples: number;
  readonly patients: { centre: number; sex: Sex; ageMonths: number; days: number[]; values: number[] }[];
  readonly years: number[];
  readonly inRiskSet: number;
  readonly estimate: number[];
  /** Limits if the table's means were known, and with their standard errors. */
  readonly known: Limits;
  readonly drawn: Limits;
  readonly pools: readonly {
    readonly values: number[];
    readonly variances: number[];
    /** For each centre its shifts under the shared draws. */
    readonly shifts: number[][];
    readonly estimate: number;
    readonly lower: number;
    readonly upper: number;
    readonly commonSd: number;
    /** What the standard deviations would add up to if the draws moved all centres the same way. */
    readonly alike: number;
  }[];
}
const fixture = readFixture<PooledDoubtFixture>('pooled-doubt');

/** Self-consistency in R stops when no mass moves by 1e-10; what is left is larger. */
const SELF_CONSISTENT = 1e5 * TURNBULL_MASS;
/** Resamples of patients and draws of the table behind the program's pooled limits. */
const [OWN_RESAMPLES, OWN_DRAWS] = [200, 60];

function definitionWith(said: boolean): StudyDefinition {
  const spread = said ? { sd: fixture.sd, n: fixture.children } : { sd: null, n: null };
  return studyDefinitionSchema.parse({
    measures: ['Co-Gn'],
    threshold: { kind: 'floor', amount: fixture.floor },
    rule: 'any-visit',
    reference: {
      kind: 'growth-table',
      table: {
        name: 'Invented',
        measure: 'Co-Gn',
        source: 'invented for this test',
        filmFactor: 1,
        ownRateSd: 0,
        rows: sexSchema.options.flatMap((sex) =>
          fixture.ages.map((ageYears, i) => ({
            sex,
            ageYears,
            stage: null,
            mean: fixture.means[sex][i],
            ...spread,
          })),
        ),
      },
    },
    groupBy: 'sex',
    protocols: [],
    years: fixture.years,
    level: fixture.level,
    coarsening: {},
  });
}

const KINDS = ['start', 'end_of_active'] as const;

function recordOf(patient: PooledDoubtFixture['patients'][number], place: number): PooledRecord {
  const { sex, ageMonths, days, values } = patient;
  return {
    pseudonym: place.toString(16).padStart(32, '0'),
    group: 'treated',
    sex,
    ageMonths,
    protocol: null,
    expansion: null,
    maturityStart: null,
    yearsPassed: 7,
    visits: days.map((day, i) => ({
      kind: KINDS[i] ?? 'follow_up',
      day,
      values: [
        { measure: 'Co-Gn', value: values[i] ?? NaN, films: 1, readings: 1, magnification: 'natural' },
      ],
    })),
    events: [],
  };
}

function centresOf(definition: StudyDefinition): CentreInPool[] {
  const names = [...new Set(fixture.patients.map(({ centre }) => centre))];
  return names.map((name) => {
    const records = fixture.patients.filter(({ centre }) => centre === name).map(recordOf);
    const flow = {
      treated: null,
      contributed: records.length,
      withoutConsent: null,
      withoutEnd: null,
      withoutStart: null,
      withoutAge: null,
      outsideLimits: null,
      tooFewAlike: null,
    };
    const context = {
      sheet: { methodErrors: [], flow },
      definition,
      definitionVersion: 1,
      software: '0.1.0',
    };
    const statistics = centreStatistics(records, context);
    return { centre: `c${name}`, statistics, estimates: allCentreEstimates(statistics, definition) };
  });
}

describe.each([
  ['a table whose means are taken as known', false, fixture.known],
  ['the standard errors of a table', true, fixture.drawn],
] as const)('pooled survival of all patients under %s', (_, said, ofR) => {
  const definition = definitionWith(said);
  const [pooled] = pooledAnswer(centresOf(definition), definition, 1).measures;

  it('is the curve of R, and its limits are as wide as R finds by resampling', () => {
    expect(pooled?.centres.reduce((sum, { inRiskSet }) => sum + inRiskSet, 0)).toBe(fixture.inRiskSet);
    // Three standard errors of the ratio of two standard deviations, where all of ours came from the fewest draws.
    const byChance =
      3 * Math.sqrt(1 / (2 * fixture.resamples) + 1 / (2 * (said ? OWN_DRAWS : OWN_RESAMPLES)));
    fixture.years.forEach((year, i) => {
      const found = pooled?.survival.find((one) => one.year === year)?.oneStage;
      if (found === undefined || isRefusal(found) || found.interval.kind !== 'bounded')
        throw new Error('no limits');
      const [estimate = NaN, lower = NaN, upper = NaN] = [fixture.estimate[i], ofR.lower[i], ofR.upper[i]];
      expectWithin(found.estimate, estimate, SELF_CONSISTENT, `year ${year}`);
      const width = (found.interval.upper - found.interval.lower) / (upper - lower);
      expectWithin(width, 1, byChance, `width, year ${year}`);
    });
  });
});

it('the table of the check widens limits by more than chance could: the check could fail', () => {
  fixture.years.forEach((_, i) => {
    const width = ({ lower, upper }: Limits): number => (upper[i] ?? NaN) - (lower[i] ?? NaN);
    expect(width(fixture.drawn) / width(fixture.known)).toBeGreaterThan(1.4);
  });
});

describe('the mean over centres with shifts under the draws that they share', () => {
  it('is that of metafor with the variance of the weighted mean of the shifts added by hand', () => {
    for (const pool of fixture.pools) {
      const results = pool.values.map((value, c) => ({
        centre: `c${c}`,
        patients: 50,
        result: {
          patients: 50,
          estimate: Math.exp(-Math.exp(value)),
          interval: { kind: 'bounded' as const, lower: 0, upper: 1 },
          value,
          variance: pool.variances[c] ?? NaN,
          commonSd: NaN,
        },
        shifts: pool.shifts[c] ?? [],
      }));
      const { twoStage } = poolCentres(results, 'log-minus-log', fixture.level);
      if (isRefusal(twoStage)) throw new Error(twoStage.message);
      expectClose(twoStage.commonSd, pool.commonSd, MAXIMUM_PLACE, 'common SD');
      expect(twoStage.commonSd).toBeLessThan(pool.alike);
      expectClose(twoStage.estimate, pool.estimate, MAXIMUM_PLACE, 'mean');
      expectClose(twoStage.limits.lower, pool.lower, 10 * MAXIMUM_PLACE, 'lower');
      expectClose(twoStage.limits.upper, pool.upper, 10 * MAXIMUM_PLACE, 'upper');
    }
  });
});
