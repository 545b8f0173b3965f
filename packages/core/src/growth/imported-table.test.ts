import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { findMeasure, type MeasureDefinition } from '../measures';
import { builtInTable, tableSize } from './built-in-table';
import { importedReference, importedTableSchema, type ImportedTable } from './imported-table';
import { maturityShift, peakAge } from './maturity-clock';
import {
  combinationRow,
  curveCovariance,
  describeReference,
  expectedSize,
  growthReference,
  individualCovariance,
  referenceCovers,
} from './reference';
import { addSizeWeights, sizeAtAge, velocityWeights, type SizeByAge } from './table-weights';
import { growthVelocity, velocityRow } from './velocity';

function measure(code: string): MeasureDefinition {
  const found = findMeasure(code);
  if (found === undefined) throw new Error(code);
  return found;
}

/** An invented table: boys at 10, 12 and 14 years, girls at two ages, printed at twice natural size. */
const TABLE: ImportedTable = importedTableSchema.parse({
  name: 'Invented',
  measure: 'Co-Gn',
  source: 'invented for this test',
  filmFactor: 0.5,
  ownRateSd: 0.4,
  rows: [
    { sex: 'male', ageYears: 14, stage: null, mean: 240, sd: 8, n: 16 },
    { sex: 'male', ageYears: 10, stage: null, mean: 210, sd: 6, n: 9 },
    { sex: 'male', ageYears: 12, stage: null, mean: 220, sd: 10, n: 25 },
    { sex: 'female', ageYears: 10, stage: null, mean: 208, sd: 6, n: 9 },
    { sex: 'female', ageYears: 12, stage: null, mean: 216, sd: 4, n: 4 },
  ],
});
const reference = importedReference(TABLE);
const without = importedReference({ ...TABLE, rows: TABLE.rows.map((row) => ({ ...row, n: null })) });

const byStage = importedReference({
  ...TABLE,
  rows: (['CS1', 'CS2', 'CS3', 'CS4', 'CS5', 'CS6'] as const).map((stage, i) => ({
    sex: 'female' as const,
    ageYears: null,
    stage,
    mean: 200 + 4 * i,
    sd: null,
    n: null,
  })),
});

function sizeWeights(sizes: SizeByAge, age: number): number[] {
  const weights = sizes.map(() => 0);
  addSizeWeights(weights, 0, sizes, age, 1);
  return weights;
}

describe('an imported growth table', () => {
  it('gives its means at natural size at its ages, and straight lines between and beyond', () => {
    const sizes = [10, 12, 14, 11, 13, 15].map((age) => expectedSize(reference, 'male', age));
    expect(sizes).toEqual([105, 110, 120, 107.5, 115, 125]);
    expect(expectedSize(reference, 'female', 11)).toBe(106);
  });

  it('carries the standard errors of its means, at natural size, into a change between two ages', () => {
    const combination = [
      { age: 13, weight: 1 },
      { age: 10, weight: -1 },
    ];
    const row = combinationRow(reference, 'male', combination);
    // 0.5 (12 y) + 0.5 (14 y) - 1 (10 y); variances of means 0.25 * (100 / 25, 64 / 16, 36 / 9) = 1 each.
    expect(curveCovariance(reference, row, row)).toBeCloseTo(0.25 + 0.25 + 1, 12);
    const girls = combinationRow(reference, 'female', [
      { age: 12, weight: 1 },
      { age: 10, weight: -1 },
    ]);
    expect(curveCovariance(reference, girls, girls)).toBeCloseTo(1 + 1, 12);
    expect(curveCovariance(reference, row, girls)).toBe(0);
  });

  it('says so, and carries nothing, where a mean comes without its SD or number', () => {
    const row = combinationRow(without, 'male', [{ age: 13, weight: 1 }]);
    expect(row).toEqual([]);
    expect(curveCovariance(without, row, row)).toBe(0);
    expect(describeReference(without)).toMatchObject({ meansUncertaintyKnown: false });
    expect(describeReference(reference)).toMatchObject({ meansUncertaintyKnown: true });
  });

  it('has a velocity that is linear in its means, by a row that says how', () => {
    expect(growthVelocity(reference, 'male', 11)).toBeCloseTo(2.5, 12);
    expect(growthVelocity(reference, 'male', 12)).toBeCloseTo(3.75, 12);
    expect(growthVelocity(reference, 'male', 15)).toBeCloseTo(5, 12);
    const row = velocityRow(reference, 'male', 12);
    const means = [104, 108, 105, 110, 120];
    expect(row.reduce((sum, weight, i) => sum + weight * (means[i] ?? NaN), 0)).toBeCloseTo(3.75, 12);
    expect(velocityRow(without, 'male', 12)).toEqual([]);
  });

  it("lets a child's own rate stray by what the table says, else by an assumed amount", () => {
    const year = [
      { age: 12, weight: 1 },
      { age: 11, weight: -1 },
    ];
    expect(individualCovariance(reference, { film: 0, retracing: 1 }, year, year)).toBeCloseTo(0.16, 12);
    expect(importedReference({ ...TABLE, ownRateSd: null })).toMatchObject({ rateSd: 1, rateSdGiven: false });
    expect(importedReference({ ...TABLE, measure: 'SNB', filmFactor: 1, ownRateSd: null }).rateSd).toBe(0.5);
  });

  it('speaks for the ages and sexes it has, and a year beyond', () => {
    expect(referenceCovers(reference, 'female', 12)).toBe('inside');
    expect(referenceCovers(reference, 'female', 12.9)).toBe('extrapolated');
    expect(referenceCovers(reference, 'female', 13.1)).toBe('outside');
    const boys = importedReference({ ...TABLE, rows: TABLE.rows.filter(({ sex }) => sex === 'male') });
    expect(referenceCovers(boys, 'female', 11)).toBe('outside');
  });

  it('by stage lies about the usual age of peak growth, and CS5 and CS6 have no place', () => {
    // Girls before their greatest increase of Co-Gn were 12.1 years old on average (Angle Orthod 2021;91:307): CS3.
    expect(expectedSize(byStage, 'female', 12.1)).toBeCloseTo(104, 12);
    expect(describeReference(byStage)).toMatchObject({ byStage: true, series: [{ sex: 'female' }] });
    expect(byStage.sizes.female.map(([age]) => age)).toEqual([10.6, 11.6, 12.1, 14.1]);
    expect(peakAge(byStage, 'female')).toBe(12.6);
    // A girl at CS2 at 13 is read where CS2 lies, 11.6.
    expect(maturityShift(byStage, 'female', 'CS2', 13)?.years).toBeCloseTo(-1.4, 12);
  });

  it('is refused with a row twice, or with ages and stages mixed', () => {
    const [first] = TABLE.rows;
    expect(importedTableSchema.safeParse({ ...TABLE, rows: [...TABLE.rows, first] }).success).toBe(false);
    const stage = { sex: 'male', ageYears: null, stage: 'CS3', mean: 220, sd: null, n: null };
    expect(importedTableSchema.safeParse({ ...TABLE, rows: [...TABLE.rows, stage] }).success).toBe(false);
    expect(importedTableSchema.safeParse({ ...TABLE, source: '=1+1' }).success).toBe(false);
  });

  it('of an angle, or of what is not read on films, is refused with a factor, and told why', () => {
    const faultsOf = (code: string, filmFactor: number) => {
      const read = importedTableSchema.safeParse({ ...TABLE, measure: code, filmFactor });
      return read.error?.issues.map(({ path, message }) => `${path.join('.')}: ${message}`) ?? [];
    };
    const refused = [
      'filmFactor: the factor of an angle, or of what is not read on films, is 1: films do not enlarge it',
    ];
    expect(faultsOf('SNB', 0.92)).toEqual(refused);
    expect(faultsOf('overjet', 0.92)).toEqual(refused);
    expect(faultsOf('SNB', 1)).toEqual([]);
    expect(faultsOf('Co-Go', 0.92)).toEqual([]);
  });

  it("does not take the SD of its sizes for that of a child's own growth", () => {
    const spread = importedReference({
      ...TABLE,
      ownRateSd: null,
      rows: TABLE.rows.map((row) => ({ ...row, sd: 20 })),
    });
    const year = [
      { age: 12, weight: 1 },
      { age: 11, weight: -1 },
    ];
    expect(individualCovariance(spread, { film: 0, retracing: 1 }, year, year)).toBe(1);
    expect(describeReference(spread)).toMatchObject({ rateSd: 1, rateSdGiven: false });
  });
});

describe('the choice among references', () => {
  const tables = [{ ...TABLE, name: 'Second' }, TABLE, { ...TABLE, measure: 'Co-Go', name: 'Other' }];
  const choose = (choice: 'auto' | 'imported-table' | 'untreated-series', name: string | null) =>
    growthReference([], measure('Co-Gn'), choice, { tables, name });

  it('takes an imported table before the built-in one, the first by name where none is named', () => {
    expect(choose('auto', null)).toMatchObject({ kind: 'imported-table', name: 'Invented' });
    expect(choose('imported-table', 'Second')).toMatchObject({ name: 'Second' });
    expect(growthReference([], measure('Co-Gn'), 'auto').kind).toBe('built-in-table');
    expect(choose('untreated-series', null).kind).toBe('none');
  });

  it('names the tables there are where the one asked for is not', () => {
    expect(choose('imported-table', 'Gone')).toEqual({
      kind: 'none',
      reason: 'No imported table Gone of Co-Gn: there are Invented, Second.',
    });
    expect(growthReference([], measure('SNB'), 'imported-table')).toEqual({
      kind: 'none',
      reason: 'No growth table of SNB was imported.',
    });
  });
});

describe('the weights of a table', () => {
  const sizes = fc
    .uniqueArray(fc.double({ min: 4, max: 20, noNaN: true }), { minLength: 2, maxLength: 8 })
    .map((ages) => ages.sort((a, b) => a - b))
    .filter((ages) => ages.every((age, i) => i === 0 || age - (ages[i - 1] ?? 0) > 0.1))
    .chain((ages) =>
      fc
        .array(fc.double({ min: 50, max: 150, noNaN: true }), {
          minLength: ages.length,
          maxLength: ages.length,
        })
        .map((means) => ages.map((age, i) => [age, means[i] ?? 0] as const)),
    );
  const sum = (weights: readonly number[]): number => weights.reduce((total, weight) => total + weight, 0);

  it('sum to one for a size and to zero for a velocity, at any age', () => {
    fc.assert(
      fc.property(sizes, fc.double({ min: 2, max: 22, noNaN: true }), (table, age) => {
        expect(sum(sizeWeights(table, age))).toBeCloseTo(1, 9);
        expect(sum(velocityWeights(table, age))).toBeCloseTo(0, 9);
      }),
    );
  });

  it('reproduce a straight line exactly, in size and velocity', () => {
    fc.assert(
      fc.property(sizes, fc.double({ min: 2, max: 22, noNaN: true }), (table, age) => {
        const line = table.map(([at]) => [at, 40 + 3 * at] as const);
        const dot = (weights: readonly number[]): number =>
          line.reduce((total, [, mean], i) => total + mean * (weights[i] ?? NaN), 0);
        expect(dot(sizeWeights(line, age))).toBeCloseTo(40 + 3 * age, 7);
        expect(sizeAtAge(line, age)).toBeCloseTo(40 + 3 * age, 7);
        expect(dot(velocityWeights(line, age))).toBeCloseTo(3, 7);
      }),
    );
  });

  it('give the built-in table its printed sizes', () => {
    const table = builtInTable('Co-Gn');
    if (table === undefined) throw new Error('no table');
    for (const [age, mean] of table.sizes.male) expect(tableSize(table, 'male', age)).toBeCloseTo(mean, 10);
  });
});
