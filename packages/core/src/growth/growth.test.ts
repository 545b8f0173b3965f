import { describe, expect, it } from 'vitest';
import { findMeasure, type MeasureDefinition } from '../measures';
import { createRandom } from '../numeric';
import { patientHistorySchema, type PatientHistory, type Sex } from '../records';
import { builtInTable, tableSize } from './built-in-table';
import { splineBasis, splineForAges, splineSlope } from './natural-spline';
import {
  curveCovariance,
  combinationRow,
  expectedSize,
  growthReference,
  individualCovariance,
  referenceCovers,
} from './reference';
import { growthVelocity, velocityRow } from './velocity';

function measure(code: string): MeasureDefinition {
  const found = findMeasure(code);
  if (found === undefined) throw new Error(code);
  return found;
}

function untreated(
  code: string,
  sex: Sex,
  values: readonly (readonly [age: number, value: number])[],
): PatientHistory {
  return patientHistorySchema.parse({
    patient: {
      code,
      sex,
      birthDate: null,
      group: 'untreated',
      protocol: null,
      expansion: null,
      maturityStart: null,
      treatmentStart: null,
      activeEnd: null,
      consentFollowUp: true,
      consentPooling: false,
    },
    visits: values.map(([ageYears, value]) => ({
      kind: 'follow_up',
      date: null,
      ageYears,
      filmFactor: 1,
      measurements: [{ measure: 'Co-Go', value, unit: 'mm', replicate: 1, examiner: '' }],
    })),
    events: [],
  });
}

function series(sex: Sex, children: number, curve: (age: number) => number, seed = 1): PatientHistory[] {
  const random = createRandom(seed);
  return Array.from({ length: children }, (_, i) => {
    const level = 2 * random.normal();
    const rate = 0.3 * random.normal();
    const ages = Array.from({ length: 8 }, (_, k) => 8 + k + 0.2 * random.normal());
    return untreated(
      `${sex[0]}${i}`,
      sex,
      ages.map((age) => [age, curve(age) + level + rate * (age - 11) + 0.5 * random.normal()]),
    );
  });
}

describe('expected growth', () => {
  it('is not needed for a measure that does not grow', () => {
    const reference = growthReference([], measure('overjet'), 'auto');
    expect(reference.kind).toBe('not-needed');
    expect(expectedSize(reference, 'female', 12)).toBe(0);
  });

  it('finds a bent curve again, within the uncertainty it claims', () => {
    const curve = (age: number): number => 50 + 2 * age - 0.08 * (age - 8) ** 2;
    const reference = growthReference(series('male', 60, curve), measure('Co-Go'), 'auto');
    for (const age of [9, 11, 13, 15]) {
      const change = [
        { age, weight: 1 },
        { age: 8.5, weight: -1 },
      ];
      const row = combinationRow(reference, 'male', change);
      const error = Math.sqrt(curveCovariance(reference, row, row));
      const found = expectedSize(reference, 'male', age) - expectedSize(reference, 'male', 8.5);
      expect(Math.abs(found - (curve(age) - curve(8.5)))).toBeLessThan(3.5 * error);
    }
  });

  it('speaks only for a sex with enough children, and for ages up to a year beyond them', () => {
    const reference = growthReference(
      series('male', 30, (age) => 2 * age),
      measure('Co-Go'),
      'auto',
    );
    expect(referenceCovers(reference, 'male', 12)).toBe('inside');
    expect(referenceCovers(reference, 'male', 16.2)).toBe('extrapolated');
    expect(referenceCovers(reference, 'male', 18)).toBe('outside');
    expect(referenceCovers(reference, 'female', 12)).toBe('outside');
  });

  it('says what is missing where no curve can be carried', () => {
    const reference = growthReference(
      series('male', 7, (age) => 2 * age),
      measure('Co-Go'),
      'auto',
    );
    expect(reference).toEqual({
      kind: 'none',
      reason: expect.stringContaining('8 untreated children with Co-Go at two ages or more'),
    });
  });

  it('falls back to the built-in table where one ships and the choice allows it', () => {
    expect(growthReference([], measure('Co-Gn'), 'auto').kind).toBe('built-in-table');
    expect(growthReference([], measure('Co-Gn'), 'untreated-series').kind).toBe('none');
  });

  it("lets a child's own rate grow with the time between two ages", () => {
    const reference = growthReference([], measure('Co-Gn'), 'built-in-table');
    const over = (years: number) => [
      { age: 12 + years, weight: 1 },
      { age: 12, weight: -1 },
    ];
    expect(individualCovariance(reference, { film: 0, retracing: 0 }, over(1), over(1))).toBeCloseTo(1, 12);
    expect(individualCovariance(reference, { film: 0, retracing: 0 }, over(3), over(3))).toBeCloseTo(9, 12);
  });
});

describe("the children's own short-term growth", () => {
  // What scatters about a child's line is error and growth; only the error that the values still hold is taken off.
  it('is what the scatter leaves after the error of values that rest on two readings, not on one', () => {
    const curve = (age: number): number => 50 + 2 * age;
    const once = series('male', 40, curve);
    const twice = once.map((history) => ({
      ...history,
      visits: history.visits.map((visit) => ({
        ...visit,
        measurements: visit.measurements.flatMap((one) => [one, { ...one, replicate: 2 }]),
      })),
    }));
    const shortTerm = (study: PatientHistory[]): number => {
      const reference = growthReference(study, measure('Co-Go'), 'untreated-series');
      const [one, other] = [12, 12.5].map((age) => [
        { age, weight: 1 },
        { age: age + 1, weight: -1 },
      ]);
      if (one === undefined || other === undefined) throw new Error('two spans');
      const error = { film: 0.04, retracing: 0.08 };
      // Two spans of a year share no age: their covariance is of the rate alone.
      return (
        individualCovariance(reference, error, one, one) - individualCovariance(reference, error, one, other)
      );
    };
    expect(shortTerm(twice) - shortTerm(once)).toBeCloseTo(2 * (0.08 - 0.04), 10);
  });
});

describe('the built-in table of mandibular length', () => {
  it.each<[Sex, number, number]>([
    ['male', 6, 99],
    ['male', 14, 121],
    ['female', 12, 113],
    ['female', 16, 119],
    ['male', 13, 117.5],
  ])('gives a %s of %d years %d mm (Harvold standards, from memory)', (sex, age, size) => {
    const table = builtInTable('Co-Gn');
    if (table === undefined) throw new Error('no table');
    expect(tableSize(table, sex, age)).toBeCloseTo(size, 12);
  });
});

describe('the natural spline', () => {
  it('is a straight line beyond its outer knots', () => {
    const spline = splineForAges([8, 9, 10, 11, 12, 13, 14], 4);
    const [a = [], b = [], c = []] = [15, 16, 17].map((age) => splineBasis(spline, age));
    a.forEach((value, i) => expect((c[i] ?? NaN) - (b[i] ?? NaN)).toBeCloseTo((b[i] ?? NaN) - value, 9));
  });

  it('has one column for each degree of freedom', () => {
    for (const df of [1, 2, 3, 5]) {
      const spline = splineForAges(
        Array.from({ length: 50 }, (_, i) => i),
        df,
      );
      expect(splineBasis(spline, 20)).toHaveLength(df);
    }
  });
});

describe('growth velocity', () => {
  const spline = splineForAges(
    Array.from({ length: 50 }, (_, i) => 8 + i / 5),
    4,
  );

  it.each([7, 9.3, 12, 14.71, 17, 19])('is the slope of the spline at %d years', (age) => {
    const step = 1e-5;
    const before = splineBasis(spline, age - step);
    const after = splineBasis(spline, age + step);
    splineSlope(spline, age).forEach((slope, i) =>
      expect(slope).toBeCloseTo(((after[i] ?? NaN) - (before[i] ?? NaN)) / (2 * step), 7),
    );
  });

  it('is the slope of the expected size, and its row carries it', () => {
    const curve = (age: number): number => 50 + 2 * age - 0.08 * (age - 8) ** 2;
    const reference = growthReference(series('male', 40, curve), measure('Co-Go'), 'auto');
    if (reference.kind !== 'untreated-series') throw new Error(reference.kind);
    const slope = (expectedSize(reference, 'male', 12.001) - expectedSize(reference, 'male', 11.999)) / 0.002;
    expect(growthVelocity(reference, 'male', 12)).toBeCloseTo(slope, 6);
    const fromRow = velocityRow(reference, 'male', 12).reduce(
      (sum, value, i) => sum + value * (reference.fit.coefficients[i] ?? NaN),
      0,
    );
    expect(fromRow).toBeCloseTo(growthVelocity(reference, 'male', 12), 12);
  });

  it('holds a rate of the table midway between its ages and does not jump at them', () => {
    const reference = growthReference([], measure('Co-Gn'), 'built-in-table');
    expect(growthVelocity(reference, 'male', 13)).toBeCloseTo(3.5, 12);
    expect(growthVelocity(reference, 'female', 15)).toBeCloseTo(1, 12);
    expect(growthVelocity(reference, 'female', 14)).toBeCloseTo(1.5, 12);
    expect(growthVelocity(reference, 'female', 18)).toBeCloseTo(1, 12);
  });

  it('is nothing for a measure that does not grow', () => {
    expect(growthVelocity(growthReference([], measure('overjet'), 'auto'), 'female', 12)).toBe(0);
  });
});
