import { sexSchema, type Sex } from '../records';
import type { GrowthReference } from './reference';

/** A growth reference in numbers, from which expected sizes and their uncertainty can be worked out again. */
export type CurveNumbers =
  | {
      readonly kind: 'spline';
      /** Knots of the natural cubic spline, years; the first and the last are at the ends of the data. */
      readonly knots: readonly number[];
      /** Added to every expected size, unit of the measure. */
      readonly offset: number;
      /** Sexes that the curve covers, in the order of their blocks of coefficients. */
      readonly sexes: readonly Sex[];
      /** Of each sex in turn: the level, then one coefficient for each column of the basis (`splineBasis`). */
      readonly coefficients: readonly number[];
      /** Covariance of the coefficients, row by row. */
      readonly covariance: readonly (readonly number[])[];
    }
  | {
      readonly kind: 'table';
      /** One entry for each mean, girls first, youngest first. */
      readonly sex: readonly Sex[];
      /** Years. */
      readonly age: readonly number[];
      /** Mean natural size, unit of the measure. */
      readonly mean: readonly number[];
      /** Variance of each mean; null where it is not known and so in no interval. */
      readonly variance: readonly number[] | null;
    };

/** The numbers of a reference; null where expected growth is not needed or not known. */
export function curveNumbers(reference: GrowthReference): CurveNumbers | null {
  switch (reference.kind) {
    case 'not-needed':
    case 'none':
      return null;
    case 'untreated-series': {
      const coefficients = Array.from(reference.fit.coefficients);
      const covariance = Array.from(reference.fit.covariance);
      return {
        kind: 'spline',
        knots: reference.spline.knots,
        offset: reference.offset,
        sexes: reference.series.map(({ sex }) => sex),
        coefficients,
        covariance: coefficients.map((_, row) =>
          covariance.slice(row * coefficients.length, (row + 1) * coefficients.length),
        ),
      };
    }
    case 'built-in-table':
    case 'imported-table': {
      const rows = sexSchema.options.flatMap((sex) =>
        reference.sizes[sex].map(([age, mean]) => ({ sex, age, mean })),
      );
      return {
        kind: 'table',
        sex: rows.map(({ sex }) => sex),
        age: rows.map(({ age }) => age),
        mean: rows.map(({ mean }) => mean),
        variance: reference.kind === 'imported-table' ? reference.meanVariances : null,
      };
    }
  }
}
