import type { Sex } from '../records';
import type { GrowthTable } from './built-in-table';
import type { GrowthReference } from './reference';
import { curveSlopeRow } from './untreated-series';

/**
 * Expected growth velocity v = dg/dage at an age, unit of the measure per year. From an untreated series the slope of
 * its curve; from a table the yearly rate between two printed ages, taken to hold midway between them and joined by
 * straight lines, so that velocity does not jump at a printed age.
 *
 * @returns 0 for a measure that does not grow; NaN without a reference
 */
export function growthVelocity(reference: GrowthReference, sex: Sex, age: number): number {
  switch (reference.kind) {
    case 'not-needed':
      return 0;
    case 'none':
      return NaN;
    case 'built-in-table':
      return tableVelocity(reference, sex, age);
    case 'untreated-series':
      return curveSlopeRow(reference, sex, age).reduce(
        (sum, value, i) => sum + value * (reference.fit.coefficients[i] ?? NaN),
        0,
      );
  }
}

/** The velocity's coefficients on the reference's curve; empty where the curve's uncertainty is not known or not there. */
export function velocityRow(reference: GrowthReference, sex: Sex, age: number): number[] {
  return reference.kind === 'untreated-series' ? curveSlopeRow(reference, sex, age) : [];
}

function tableVelocity({ sizes }: GrowthTable, sex: Sex, age: number): number {
  const rows = sizes[sex];
  const rates = rows.slice(1).map(([olderAge, olderSize], i) => {
    const [youngerAge, youngerSize] = rows[i] ?? [0, NaN];
    return { age: (youngerAge + olderAge) / 2, rate: (olderSize - youngerSize) / (olderAge - youngerAge) };
  });
  const older = rates.find((row) => row.age >= age);
  const younger = [...rates].reverse().find((row) => row.age <= age);
  if (older === undefined) return younger?.rate ?? NaN;
  if (younger === undefined || younger.age === older.age) return older.rate;
  const share = (age - younger.age) / (older.age - younger.age);
  return younger.rate + share * (older.rate - younger.rate);
}
