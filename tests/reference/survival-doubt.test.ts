import { answerOutcome } from '@longhold/core/answers';
import { importedTableSchema, type ImportedTable } from '@longhold/core/growth';
import { sexSchema, type Sex } from '@longhold/core/records';
import { describe, expect, it } from 'vitest';
import { inventedHistory } from '../study/invented-patient';
import { expectWithin } from './closeness';
import { readFixture } from './fixture';
import { TURNBULL_MASS } from './tolerances';

/*
 * Outside: r/survival-doubt.R, which resamples patients and the means of a growth table by its own random numbers, takes
 * the margins off anew each time and finds the curve by self-consistency. All data invented.
 */
interface DrawnLimits {
  readonly variance: number[];
  readonly lower: number[];
  readonly upper: number[];
}
interface SurvivalDoubtFixture {
  readonly ages: number[];
  readonly means: Record<Sex, number[]>;
  readonly sd: number;
  readonly children: number;
  readonly floor: number;
  readonly level: number;
  readonly resamples: number;
  readonly patients: { code: string; sex: Sex; ages: number[]; values: number[] }[];
  readonly years: number[];
  readonly inRiskSet: number;
  readonly estimate: number[];
  /** Limits if the table's means were known, and with their standard errors. */
  readonly known: DrawnLimits;
  readonly drawn: DrawnLimits;
}
const fixture = readFixture<SurvivalDoubtFixture>('survival-doubt');

const OWN_RESAMPLES = 4000;
/** Three standard errors of the ratio of two standard deviations found from so many resamples each. */
const BY_CHANCE = 3 * Math.sqrt(1 / (2 * fixture.resamples) + 1 / (2 * OWN_RESAMPLES));
/** Self-consistency in R stops when no mass moves by 1e-9; what is left is larger. */
const SELF_CONSISTENT = 1e5 * TURNBULL_MASS;

const histories = fixture.patients.map(({ code, sex, ages, values }) =>
  inventedHistory({
    code,
    sex,
    measure: 'Co-Gn',
    unit: 'mm',
    dated: false,
    visits: ages.map((at, i) => ({ at, value: values[i] ?? NaN })),
  }),
);

function table(said: boolean): ImportedTable {
  const spread = said ? { sd: fixture.sd, n: fixture.children } : { sd: null, n: null };
  return importedTableSchema.parse({
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
  });
}

describe.each([
  ['a table whose means are taken as known', false, fixture.known],
  ['the standard errors of a table', true, fixture.drawn],
] as const)('survival under %s', (_, said, ofR) => {
  const { survival } = answerOutcome(
    histories,
    {
      measure: 'Co-Gn',
      reference: 'imported-table',
      rule: 'any-visit',
      threshold: { kind: 'floor', amount: fixture.floor },
      level: fixture.level,
      resamples: OWN_RESAMPLES,
    },
    {},
    [table(said)],
  );
  const at = (year: number) => survival?.turnbull.atYears.find((one) => one.year === year);

  it('is the curve of R, and its limits are as wide as R finds by resampling', () => {
    expect(survival?.patients).toBe(fixture.inRiskSet);
    fixture.years.forEach((year, i) => {
      const found = at(year);
      const [estimate = NaN, lower = NaN, upper = NaN] = [fixture.estimate[i], ofR.lower[i], ofR.upper[i]];
      expectWithin(found?.estimate ?? NaN, estimate, SELF_CONSISTENT, `year ${year}`);
      expectWithin(found?.limits?.lower ?? NaN, lower, BY_CHANCE * (estimate - lower), `lower, ${year}`);
      expectWithin(found?.limits?.upper ?? NaN, upper, BY_CHANCE * (upper - estimate), `upper, ${year}`);
    });
  });

  it('says whether they carry it', () => {
    expect(survival?.carried.growthReference).toBe(said ? 'carried' : 'not-known');
  });
});
