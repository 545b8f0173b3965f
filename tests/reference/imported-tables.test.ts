import { describe, expect, it } from 'vitest';
import { answerOutcome } from '@longhold/core/answers';
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
  type ImportedTable,
} from '@longhold/core/growth';
import { isRefusal } from '@longhold/core/numeric';
import { patientHistorySchema, type PatientHistory, type Sex } from '@longhold/core/records';
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
  };
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
      const own = Math.sqrt(individualCovariance(reference, 9, change(span), change(span)));
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

  it('in lasting and passing gain, to whose errors the table adds more than half', () => {
    const clock = answer.separation.growthClock;
    if (isRefusal(clock)) throw new Error(clock.message);
    const expected = fixture.growthClock;
    expectClose(clock.lasting.estimate, expected.lasting, MAXIMUM_PLACE, 'lasting');
    expectClose(clock.passing.estimate, expected.passing, MAXIMUM_PLACE, 'passing', 1);
    expectClose(clock.lasting.standardError, expected.lastingError, MAXIMUM_PLACE, 'error of lasting');
    expectClose(clock.passing.standardError, expected.passingError, MAXIMUM_PLACE, 'error of passing');
    expect(clock.lasting.standardError).toBeGreaterThan(2 * expected.lastingErrorWithoutTable);
  });
});

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
