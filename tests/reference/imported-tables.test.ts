import { describe, expect, it } from 'vitest';
import { answerOutcome, lastingGainOf, prepareQuestion } from '@longhold/core/answers';
import {
  combinationRow,
  curveCovariance,
  expectedSize,
  growthVelocity,
  importedReference,
  importedTableSchema,
  individualCovariance,
  velocityRow,
  type AgeCombination,
  type ImportedGrowthTable,
  type ImportedTable,
} from '@longhold/core/growth';
import { isRefusal } from '@longhold/core/numeric';
import { patientHistorySchema, type PatientHistory, type Sex } from '@longhold/core/records';
import { fitGrowthClock, LEAST_VELOCITY_RELIABILITY, type ClockSeries } from '@longhold/core/separation';
import { expectClose } from './closeness';
import { readFixture } from './fixture';
import { CLOSED_FORM, MAXIMUM_PLACE } from './tolerances';

/*
 * Outside: r/imported-tables.R, worked from docs/methods.md ("From an imported table"). There what a result owes to a
 * printed mean is found by moving that mean, here by weights. Variances of the growth clock: lme4. All data invented.
 */
interface Span {
  readonly sex: Sex;
  readonly from: number;
  readonly to: number;
}
interface TableCase extends Pick<ImportedTable, 'name' | 'filmFactor' | 'ownRateSd' | 'rows'> {
  readonly changes: (Span & { change: number; errorOfMeans: number; ownSd: number })[];
  readonly velocities: { sex: Sex; age: number; velocity: number; errorOfMeans: number }[];
  readonly shared: { one: Span; other: Span; covariance: number }[];
}
interface ImportedTablesFixture {
  readonly tables: TableCase[];
  readonly children: { code: string; sex: Sex; ages: number[]; values: number[] }[];
  readonly groupGain: { n: number; mean: number; lower: number; upper: number };
  readonly kept: { year: number; n: number; share: number; lower: number; upper: number }[];
  readonly growthClock: {
    readonly lasting: number;
    readonly passing: number;
    readonly lastingError: number;
    readonly passingError: number;
    readonly lastingErrorWithoutTable: number;
    readonly velocityReliability: number;
  };
  /** Of the first table as it is; the growth clock has `timesAsMany` times as many children behind each mean. */
  readonly reliabilityOfTable: number;
  readonly timesAsMany: number;
}
const fixture = readFixture<ImportedTablesFixture>('imported-tables');

function tableOf({ name, filmFactor, ownRateSd, rows }: TableCase): ImportedTable {
  return importedTableSchema.parse({
    name,
    measure: 'Co-Gn',
    source: 'invented for this test',
    filmFactor,
    ownRateSd,
    rows,
  });
}

function change({ from, to }: Span): AgeCombination {
  return [
    { age: to, weight: 1 },
    { age: from, weight: -1 },
  ];
}

describe.each(fixture.tables)('an imported table ($name) agrees with R', (expected) => {
  const reference = importedReference(tableOf(expected));
  const changeRow = (span: Span): number[] => combinationRow(reference, span.sex, change(span));

  it('in expected changes, what its means add to their error, and how far single children stray', () => {
    for (const span of expected.changes) {
      const { sex, from, to } = span;
      const what = `${sex}, ${from} to ${to} years`;
      const growth = expectedSize(reference, sex, to) - expectedSize(reference, sex, from);
      expectClose(growth, span.change, CLOSED_FORM, what);
      const row = changeRow(span);
      const error = Math.sqrt(curveCovariance(reference, row, row));
      expectClose(error, span.errorOfMeans, CLOSED_FORM, `error of ${what}`);
      // Measurement error plays no part in a table's own SD, however large.
      const own = Math.sqrt(individualCovariance(reference, LARGE_ERROR, change(span), change(span)));
      expectClose(own, span.ownSd, CLOSED_FORM, `own growth, ${what}`);
    }
  });

  it('in velocities and their errors', () => {
    for (const { sex, age, velocity, errorOfMeans } of expected.velocities) {
      expectClose(growthVelocity(reference, sex, age), velocity, CLOSED_FORM, `${sex} at ${age}`);
      const row = velocityRow(reference, sex, age);
      const error = Math.sqrt(curveCovariance(reference, row, row));
      expectClose(error, errorOfMeans, CLOSED_FORM, `error, ${sex} at ${age}`);
    }
  });

  it('in what two changes share by hanging on the same means', () => {
    for (const { one, other, covariance } of expected.shared) {
      const shared = curveCovariance(reference, changeRow(one), changeRow(other));
      expectClose(shared, covariance, CLOSED_FORM, 'covariance', 1);
    }
  });
});

const LARGE_ERROR = { film: 4, retracing: 5 };

describe('a group whose growth is taken from an imported table agrees with R', () => {
  const [table] = fixture.tables;
  if (table === undefined) throw new Error('no table');
  const answer = answerOutcome(
    fixture.children.map(childOf),
    { reference: 'imported-table', resamples: 50 },
    {},
    [tableOf(table)],
  );

  it('in the mean gain with limits that hold the doubt of the table', () => {
    const { n, mean, lower, upper } = fixture.groupGain;
    expect(answer.gain?.n).toBe(n);
    expectClose(answer.gain?.mean ?? NaN, mean, CLOSED_FORM, 'mean gain');
    expectClose(answer.gain?.limits?.lower ?? NaN, lower, CLOSED_FORM, 'lower limit');
    expectClose(answer.gain?.limits?.upper ?? NaN, upper, CLOSED_FORM, 'upper limit');
  });

  it.each(fixture.kept)('in the share retained at year $year', ({ year, n, share, lower, upper }) => {
    const found = answer.retained.find((row) => row.year === year);
    expect(found?.n).toBe(n);
    expectClose(found?.share?.estimate ?? NaN, share, CLOSED_FORM, 'share');
    const interval = found?.share?.interval;
    if (interval?.kind !== 'bounded') throw new Error('no bounded interval');
    expectClose(interval.lower, lower, CLOSED_FORM, 'lower limit');
    expectClose(interval.upper, upper, CLOSED_FORM, 'upper limit');
  });

  it('in how little of its velocities is sure, for which the growth clock refuses it', () => {
    expect(fixture.reliabilityOfTable).toBeLessThan(LEAST_VELOCITY_RELIABILITY);
    const clock = answer.separation.growthClock;
    if (!isRefusal(clock)) throw new Error('the growth clock was read');
    expect(clock.refused).toBe('unsure-velocity');
    const error = Math.round(100 * Math.min(1, 1 - fixture.reliabilityOfTable));
    expect(clock.message).toContain(`could make ${error} % of the differences in growth rate`);
    expect(answer.separation.readFrom).toBeNull();
  });
});

describe('a table that does not say the SD and number of children behind each mean', () => {
  it('is refused by the growth clock, since nobody can tell whether it carries that', () => {
    const [table] = fixture.tables;
    if (table === undefined) throw new Error('no table');
    const rows = table.rows.map((row, i) => (i === 3 ? { ...row, n: null } : row));
    const prepared = prepareQuestion(fixture.children.map(childOf), { reference: 'imported-table' }, [
      tableOf({ ...table, rows }),
    ]);
    const clock = lastingGainOf(prepared);
    if (!isRefusal(clock)) throw new Error('the growth clock was read');
    expect(clock.refused).toBe('unsure-velocity');
    expect(clock.message).toContain('does not give the SD and number');
  });
});

describe('lasting and passing gain by a table of very many children agree with R', () => {
  const [table] = fixture.tables;
  if (table === undefined) throw new Error('no table');
  const rows = table.rows.map((row) => ({ ...row, n: (row.n ?? NaN) * fixture.timesAsMany }));
  const prepared = prepareQuestion(fixture.children.map(childOf), { reference: 'imported-table' }, [
    tableOf({ ...table, rows }),
  ]);
  const expected = fixture.growthClock;

  it('in the estimates, and in their errors, to which the table adds', () => {
    const gain = lastingGainOf(prepared);
    if (isRefusal(gain)) throw new Error(gain.message);
    expectClose(gain.lasting.estimate, expected.lasting, MAXIMUM_PLACE, 'lasting');
    expectClose(gain.passing.estimate, expected.passing, MAXIMUM_PLACE, 'passing', 1);
    expectClose(gain.lasting.standardError, expected.lastingError, MAXIMUM_PLACE, 'error of lasting');
    expectClose(gain.passing.standardError, expected.passingError, MAXIMUM_PLACE, 'error of passing');
    expect(gain.lasting.standardError).toBeGreaterThan(expected.lastingErrorWithoutTable);
  });

  it('in how much of the differences in velocity is not error', () => {
    const clock = fitGrowthClock(clockSeries(importedReference(tableOf({ ...table, rows }))));
    if (isRefusal(clock)) throw new Error(clock.message);
    expectClose(clock.velocityReliability ?? NaN, expected.velocityReliability, MAXIMUM_PLACE, 'reliability');
  });
});

/** Every gain of the children after the start, as the growth clock takes it. */
function clockSeries(reference: ImportedGrowthTable): ClockSeries {
  const gains = fixture.children.flatMap(({ code, sex, ages, values }) =>
    ages.slice(1).map((age, i) => {
      const grown: AgeCombination = change({ sex, from: ages[0] ?? NaN, to: age });
      const expected = grown.reduce(
        (sum, one) => sum + one.weight * expectedSize(reference, sex, one.age),
        0,
      );
      return {
        code,
        gain: (values[i + 1] ?? NaN) - (values[0] ?? NaN) - expected,
        velocity: growthVelocity(reference, sex, age),
        growthRow: combinationRow(reference, sex, grown),
        velocityRow: velocityRow(reference, sex, age),
      };
    }),
  );
  return {
    patient: gains.map(({ code }) => code),
    gain: gains.map(({ gain }) => gain),
    velocity: gains.map(({ velocity }) => velocity),
    curve: {
      direction: 1,
      expectedGrowth: gains.map(({ growthRow }) => growthRow),
      velocity: gains.map((one) => one.velocityRow),
      coefficients: gains[0]?.velocityRow.length ?? 0,
      covariance: (left, right) => curveCovariance(reference, left, right),
    },
  };
}

function childOf({ code, sex, ages, values }: (typeof fixture.children)[number]): PatientHistory {
  const kinds = ['start', 'end_of_active'] as const;
  return patientHistorySchema.parse({
    patient: {
      code,
      sex,
      birthDate: null,
      group: 'treated',
      protocol: null,
      expansion: null,
      maturityStart: null,
      treatmentStart: null,
      activeEnd: null,
      consentFollowUp: true,
      consentPooling: false,
    },
    visits: ages.map((ageYears, i) => ({
      kind: kinds[i] ?? 'follow_up',
      date: null,
      ageYears,
      filmFactor: 1,
      measurements: [{ measure: 'Co-Gn', value: values[i], unit: 'mm', replicate: 1, examiner: '' }],
    })),
    events: [],
  });
}
