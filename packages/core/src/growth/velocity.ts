import type { Sex } from '../records';
import type { GrowthTable } from './built-in-table';
import { tableRow, type GrowthReference } from './reference';
import { velocityWeights, weighted } from './table-weights';
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
    case 'imported-table':
      return tableVelocity(reference, sex, age);
    case 'untreated-series':
      return curveSlopeRow(reference, sex, age).reduce(
        (sum, value, i) => sum + value * (reference.fit.coefficients[i] ?? NaN),
        0,
      );
  }
}

/** The velocity's coefficients on the reference's curve, or on the means of a table; empty where their uncertainty is not known or not there. */
export function velocityRow(reference: GrowthReference, sex: Sex, age: number): readonly number[] {
  if (reference.kind === 'untreated-series') return curveSlopeRow(reference, sex, age);
  return reference.kind === 'imported-table'
    ? tableRow(reference, sex, velocityWeights(reference.sizes[sex], age))
    : [];
}

function tableVelocity({ sizes }: Pick<GrowthTable, 'sizes'>, sex: Sex, age: number): number {
  const rows = sizes[sex];
  return rows.length < 2 ? NaN : weighted(rows, velocityWeights(rows, age));
}
