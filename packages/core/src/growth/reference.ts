import type { MeasureDefinition, Provenance } from '../measures/definition';
import { bilinear } from '../numeric';
import type { Sex, Study } from '../records';
import { builtInTable, tableSize, type GrowthTable } from './built-in-table';
import { curveRow, fitGrowthCurve, type GrowthCurve, type ReferenceSeries } from './untreated-series';

/** Years beyond the ages of the reference up to which it is still continued, with a warning. */
const EXTRAPOLATION_YEARS = 1;

/** What expected growth is taken from. `not-needed`: the measure does not grow. */
export type GrowthReference =
  | { readonly kind: 'not-needed' }
  | { readonly kind: 'none'; readonly reason: string }
  | GrowthCurve
  | GrowthTable;

/** Which expected growth is in force, in facts that a screen can show. */
export type ReferenceDescription =
  | { readonly kind: 'not-needed' }
  | { readonly kind: 'none'; readonly reason: string }
  | {
      readonly kind: 'untreated-series';
      /** By sex: children, measurements and the ages covered, in years. */
      readonly series: readonly ReferenceSeries[];
      /** Spline degrees of freedom of the curve (1 is a straight line). */
      readonly degreesOfFreedom: number;
      /** SD of individual growth rates around the curve, unit per year. */
      readonly rateSd: number;
      /** SD of a single value around the child's own line: measurement error and short-term deviation together. */
      readonly residualSd: number;
    }
  | {
      readonly kind: 'built-in-table';
      readonly provenance: Provenance;
      /** Ages the table covers, by sex; its numbers of children are not known and given as 0. */
      readonly series: readonly ReferenceSeries[];
      readonly rateSd: number;
    };

/** Chooses and, where needed, fits the reference of one measure. `auto` prefers the study's own untreated series. */
export function growthReference(
  study: Study,
  measure: MeasureDefinition,
  choice: 'auto' | 'untreated-series' | 'built-in-table',
): GrowthReference {
  if (!measure.grows) return { kind: 'not-needed' };
  const table = builtInTable(measure.code);
  if (choice === 'built-in-table') {
    return table ?? { kind: 'none', reason: `No growth table for ${measure.code} is built in.` };
  }
  const curve = fitGrowthCurve(study, measure.code);
  if (typeof curve !== 'string') return curve;
  if (choice === 'auto' && table !== undefined) return table;
  return {
    kind: 'none',
    reason: table === undefined ? `${curve} No growth table is built in either.` : curve,
  };
}

/** The facts of a reference that a reader needs to judge it. */
export function describeReference(reference: GrowthReference): ReferenceDescription {
  switch (reference.kind) {
    case 'not-needed':
    case 'none':
      return reference;
    case 'untreated-series':
      return {
        kind: 'untreated-series',
        series: reference.series,
        degreesOfFreedom: reference.spline.knots.length - 1,
        rateSd: Math.sqrt(rateVariance(reference)),
        residualSd: reference.fit.residualSd,
      };
    case 'built-in-table':
      return {
        kind: 'built-in-table',
        provenance: reference.provenance,
        series: (['female', 'male'] as const).map((sex) => ({
          sex,
          children: 0,
          measurements: 0,
          ages: tableAges(reference, sex),
        })),
        rateSd: reference.rateSd,
      };
  }
}

/** Whether the reference speaks for a sex at an age: within its ages, up to a year beyond them, or not at all. */
export function referenceCovers(
  reference: GrowthReference,
  sex: Sex,
  age: number,
): 'inside' | 'extrapolated' | 'outside' {
  if (reference.kind === 'not-needed') return 'inside';
  if (reference.kind === 'none') return 'outside';
  const ages =
    reference.kind === 'built-in-table'
      ? tableAges(reference, sex)
      : reference.series.find((series) => series.sex === sex)?.ages;
  if (ages === undefined) return 'outside';
  const beyond = Math.max(ages[0] - age, age - ages[1], 0);
  if (beyond === 0) return 'inside';
  return beyond <= EXTRAPOLATION_YEARS ? 'extrapolated' : 'outside';
}

/** Expected size at an age. Zero for a measure that does not grow, since only differences are ever used. */
export function expectedSize(reference: GrowthReference, sex: Sex, age: number): number {
  switch (reference.kind) {
    case 'not-needed':
      return 0;
    case 'none':
      return NaN;
    case 'built-in-table':
      return tableSize(reference, sex, age);
    case 'untreated-series': {
      const row = curveRow(reference, sex, age);
      return row.reduce(
        (sum, value, i) => sum + value * (reference.fit.coefficients[i] ?? NaN),
        reference.offset,
      );
    }
  }
}

/** Ages with weights: a linear combination of expected sizes, such as +1 at a visit and -1 at the start. */
export type AgeCombination = readonly { readonly age: number; readonly weight: number }[];

/**
 * A combination's coefficients on the reference's curve. Averages of such rows over patients carry the curve's
 * uncertainty to group means. Empty where the curve's uncertainty is not known (table) or not there.
 */
export function combinationRow(reference: GrowthReference, sex: Sex, combination: AgeCombination): number[] {
  if (reference.kind !== 'untreated-series') return [];
  const total = new Array<number>(reference.fit.coefficients.length).fill(0);
  for (const { age, weight } of combination) {
    curveRow(reference, sex, age).forEach((value, i) => {
      total[i] = (total[i] ?? 0) + weight * value;
    });
  }
  return total;
}

/** Covariance of two combinations that comes from the uncertainty of the curve itself. */
export function curveCovariance(
  reference: GrowthReference,
  left: readonly number[],
  right: readonly number[],
): number {
  return reference.kind === 'untreated-series' ? bilinear(left, reference.fit.covariance, right) : 0;
}

/**
 * Covariance, over children, of two combinations of a child's own deviations from the curve. Weights of each
 * combination must sum to zero, so that the child's own level cancels. Two parts: the child's own yearly rate,
 * and short-term deviation, which is what the scatter around a child's own line leaves after measurement error.
 *
 * @param errorVariance variance of one reading from measurement error, unit squared
 */
export function individualCovariance(
  reference: GrowthReference,
  errorVariance: number,
  left: AgeCombination,
  right: AgeCombination,
): number {
  if (reference.kind === 'not-needed' || reference.kind === 'none') return 0;
  const moment = (combination: AgeCombination): number =>
    combination.reduce((sum, { age, weight }) => sum + weight * age, 0);
  const fromRate = rateVariance(reference) * moment(left) * moment(right);
  if (reference.kind === 'built-in-table') return fromRate;
  const shortTerm = Math.max(0, reference.fit.residualSd ** 2 - errorVariance);
  let shared = 0;
  for (const a of left) for (const b of right) if (a.age === b.age) shared += a.weight * b.weight;
  return fromRate + shortTerm * shared;
}

function rateVariance(reference: GrowthCurve | GrowthTable): number {
  return reference.kind === 'built-in-table'
    ? reference.rateSd ** 2
    : (reference.fit.randomCovariance[3] ?? 0);
}

function tableAges(table: GrowthTable, sex: Sex): [number, number] {
  const ages = table.sizes[sex].map(([age]) => age);
  return [Math.min(...ages), Math.max(...ages)];
}
