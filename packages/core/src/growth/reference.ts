import { valueErrorVariance, type ErrorVariances } from '../agreement';
import type { MeasureDefinition, Provenance } from '../measures/definition';
import { bilinear } from '../numeric';
import type { Sex, Study } from '../records';
import { builtInTable, tableSize, type GrowthTable } from './built-in-table';
import { importedReference, type ImportedGrowthTable, type ImportedTable } from './imported-table';
import { addSizeWeights } from './table-weights';
import { curveRow, fitGrowthCurve, type GrowthCurve, type ReferenceSeries } from './untreated-series';

/** Years beyond the ages of the reference up to which it is still continued, with a warning. */
const EXTRAPOLATION_YEARS = 1;

/** What expected growth is taken from. `not-needed`: the measure does not grow. */
export type GrowthReference =
  | { readonly kind: 'not-needed' }
  | { readonly kind: 'none'; readonly reason: string }
  | GrowthCurve
  | ImportedGrowthTable
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
      readonly kind: 'imported-table';
      readonly name: string;
      readonly source: string;
      /** What its printed means were multiplied by to give natural size. */
      readonly filmFactor: number;
      /** Whether its rows are stages of maturity, placed at the ages at which children usually have them. */
      readonly byStage: boolean;
      /** By sex: children (the most behind one mean; 0 where not said), children over all means, ages covered. */
      readonly series: readonly ReferenceSeries[];
      /** Whether the uncertainty of its means is known, and so in the intervals. */
      readonly meansUncertaintyKnown: boolean;
      readonly rateSd: number;
      /** Whether the table gives that SD; else it is assumed. */
      readonly rateSdGiven: boolean;
    }
  | {
      readonly kind: 'built-in-table';
      readonly provenance: Provenance;
      /** Ages the table covers, by sex; its numbers of children are not known and given as 0. */
      readonly series: readonly ReferenceSeries[];
      readonly rateSd: number;
    };

/** The tables a clinic brought in, and which of them is asked for: its name, or null for the first by name. */
export interface ImportedChoice {
  readonly tables: readonly ImportedTable[];
  readonly name: string | null;
}

/**
 * Chooses and, where needed, fits the reference of one measure. `auto` prefers the study's own untreated series, then a
 * table that the clinic brought in, then the built-in one.
 */
export function growthReference(
  study: Study,
  measure: MeasureDefinition,
  choice: 'auto' | 'untreated-series' | 'imported-table' | 'built-in-table',
  imported: ImportedChoice = { tables: [], name: null },
): GrowthReference {
  if (!measure.grows) return { kind: 'not-needed' };
  const own = importedTable(measure, imported);
  if (choice === 'imported-table') return own;
  const table = builtInTable(measure.code);
  if (choice === 'built-in-table') {
    return table ?? { kind: 'none', reason: `No growth table for ${measure.code} is built in.` };
  }
  const curve = fitGrowthCurve(study, measure.code);
  if (typeof curve !== 'string') return curve;
  if (choice === 'auto' && own.kind !== 'none') return own;
  if (choice === 'auto' && table !== undefined) return table;
  return {
    kind: 'none',
    reason: table === undefined ? `${curve} No growth table is built in either.` : curve,
  };
}

/** Names of the tables of one measure, in the order in which the first is taken. */
export function tableNames(tables: readonly ImportedTable[], measureCode: string): string[] {
  return tables
    .filter(({ measure }) => measure === measureCode)
    .map(({ name }) => name)
    .sort();
}

function importedTable(
  { code }: MeasureDefinition,
  { tables, name }: ImportedChoice,
): ImportedGrowthTable | Extract<GrowthReference, { kind: 'none' }> {
  const names = tableNames(tables, code);
  const wanted = name ?? names[0];
  const table = tables.find((one) => one.measure === code && one.name === wanted);
  if (table === undefined) {
    const there =
      names.length === 0 ? `no growth table of ${code} was imported` : `there are ${names.join(', ')}`;
    return {
      kind: 'none',
      reason: name === null ? sentence(there) : `No imported table ${name} of ${code}: ${there}.`,
    };
  }
  const reference = importedReference(table);
  return reference.series.length > 0
    ? reference
    : {
        kind: 'none',
        reason: `The imported table ${table.name} has no sex with two ages, or placed stages.`,
      };
}

function sentence(words: string): string {
  return `${words.charAt(0).toUpperCase()}${words.slice(1)}.`;
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
    case 'imported-table': {
      const { kind, name, source, filmFactor, byStage, series, rateSd, rateSdGiven } = reference;
      const meansUncertaintyKnown = reference.meanVariances !== null;
      return {
        kind,
        name,
        source,
        filmFactor,
        byStage,
        series,
        meansUncertaintyKnown,
        rateSd,
        rateSdGiven,
      };
    }
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
    case 'imported-table':
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
 * A combination's coefficients on the reference's curve, or on the means of an imported table. Averages of such rows
 * over patients carry the reference's uncertainty to group means. Empty where it is not known (a table without SDs and
 * numbers, the built-in table) or not there.
 */
export function combinationRow(reference: GrowthReference, sex: Sex, combination: AgeCombination): number[] {
  if (reference.kind === 'imported-table') return tableCombination(reference, sex, combination);
  if (reference.kind !== 'untreated-series') return [];
  const total = new Array<number>(reference.fit.coefficients.length).fill(0);
  for (const { age, weight } of combination) {
    const row = curveRow(reference, sex, age);
    for (let i = 0; i < row.length; i++) total[i] = (total[i] ?? 0) + weight * (row[i] ?? 0);
  }
  return total;
}

function tableCombination(
  { sizes, meanVariances }: ImportedGrowthTable,
  sex: Sex,
  combination: AgeCombination,
): number[] {
  if (meanVariances === null) return [];
  const total = new Array<number>(meanVariances.length).fill(0);
  const first = sex === 'female' ? 0 : sizes.female.length;
  for (const { age, weight } of combination) addSizeWeights(total, first, sizes[sex], age, weight);
  return total;
}

/**
 * Weights on one sex's means as a row over all means of an imported table, girls first; empty where their uncertainty
 * is not known.
 */
export function tableRow(
  { sizes, meanVariances }: ImportedGrowthTable,
  sex: Sex,
  weights: readonly number[],
): number[] {
  if (meanVariances === null) return [];
  return sex === 'female'
    ? [...weights, ...sizes.male.map(() => 0)]
    : [...sizes.female.map(() => 0), ...weights];
}

/** Covariance of two combinations that comes from the uncertainty of the curve, or of a table's means, itself. */
export function curveCovariance(
  reference: GrowthReference,
  left: readonly number[],
  right: readonly number[],
): number {
  if (reference.kind === 'untreated-series') return bilinear(left, reference.fit.covariance, right);
  if (reference.kind !== 'imported-table' || reference.meanVariances === null) return 0;
  return reference.meanVariances.reduce(
    (sum, variance, i) => sum + (left[i] ?? 0) * variance * (right[i] ?? 0),
    0,
  );
}

/**
 * Covariance, over children, of two combinations of a child's own deviations from the curve. Weights of each
 * combination must sum to zero, so that the child's own level cancels. Two parts: the child's own yearly rate,
 * and short-term deviation, which is what the scatter around a child's own line leaves after the measurement error of the
 * series' values, some of which rest on several readings or films.
 */
export function individualCovariance(
  reference: GrowthReference,
  error: ErrorVariances,
  left: AgeCombination,
  right: AgeCombination,
): number {
  if (reference.kind === 'not-needed' || reference.kind === 'none') return 0;
  const moment = (combination: AgeCombination): number =>
    combination.reduce((sum, { age, weight }) => sum + weight * age, 0);
  const fromRate = rateVariance(reference) * moment(left) * moment(right);
  if (reference.kind !== 'untreated-series') return fromRate;
  const { fit, usualValue } = reference;
  const shortTerm = Math.max(0, fit.residualSd ** 2 - valueErrorVariance(error, usualValue));
  let shared = 0;
  for (const a of left) for (const b of right) if (a.age === b.age) shared += a.weight * b.weight;
  return fromRate + shortTerm * shared;
}

function rateVariance(reference: GrowthCurve | ImportedGrowthTable | GrowthTable): number {
  return reference.kind === 'untreated-series'
    ? (reference.fit.randomCovariance[3] ?? 0)
    : reference.rateSd ** 2;
}

function tableAges(table: GrowthTable, sex: Sex): [number, number] {
  const ages = table.sizes[sex].map(([age]) => age);
  return [Math.min(...ages), Math.max(...ages)];
}
