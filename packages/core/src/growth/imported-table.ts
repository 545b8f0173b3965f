import { z } from 'zod';
import { findMeasure } from '../measures/catalogue';
import { measureCodeSchema } from '../measures/definition';
import { ageYearsSchema, filmFactorSchema, maturityStageSchema, sexSchema, type Sex } from '../records';
import type { ReferenceSeries } from './untreated-series';
import { TYPICAL_PEAK_AGES, yearsAfterPeak } from './stage-place';
import type { SizeByAge } from './table-weights';

/**
 * SD of a child's own yearly rate around a table's, by unit, where the table gives none. Millimetres as for the
 * built-in table; both are assumed, no source. The SDs of a table's sizes cannot stand in: they tell how children of
 * one age differ in size, and say nothing of how they differ in growth.
 */
const DEFAULT_OWN_RATE_SD = { mm: 1, deg: 0.5 } as const;

/** What a table is called: letters, digits and a few signs, so that it can stand in an address and in a file. */
export const growthTableNameSchema = z
  .string()
  .regex(
    /^[\p{L}\p{N}](?:[\p{L}\p{N} ._+-]{0,58}[\p{L}\p{N}])?$/u,
    'a name of 1 to 60 letters, digits, spaces, dots, dashes, plus signs or underscores',
  );

/** Where a table comes from: one line, in no form a spreadsheet would take for a formula. */
export const growthTableSourceSchema = z
  .string()
  .regex(
    /^(?![=+@-])[^\n\r\t]{1,300}$/u,
    'one line of up to 300 characters that begins with no =, +, - or @',
  );

/** SD of a child's own yearly rate, the measure's unit a year. */
export const ownRateSdSchema = z.number().min(0).max(10);
/** SD of the children behind one mean, the measure's unit. */
export const tableSdSchema = z.number().min(0.01).max(50);
/** Children behind one mean. */
export const tableCountSchema = z.int().min(1).max(1_000_000);

const tableRowSchema = z
  .strictObject({
    sex: sexSchema,
    /** Years; null in a table by stage of maturity. */
    ageYears: ageYearsSchema.nullable(),
    /** Null in a table by age. */
    stage: maturityStageSchema.nullable(),
    /** As printed, in the measure's unit. */
    mean: z.number(),
    /** SD and number of the children behind the mean; null where the table does not say. */
    sd: tableSdSchema.nullable(),
    n: tableCountSchema.nullable(),
  })
  .refine((row) => (row.ageYears === null) !== (row.stage === null), 'a row has an age or a stage');
export type ImportedTableRow = z.infer<typeof tableRowSchema>;

/**
 * Expected sizes of one measure that the clinic brought in. A table is known by its name and measure. Its rows are all
 * by age or all by stage of maturity.
 */
export const importedTableSchema = z
  .strictObject({
    name: growthTableNameSchema,
    measure: measureCodeSchema,
    source: growthTableSourceSchema,
    /** What printed means are multiplied by to give natural size; 1 for natural size and for what films don't enlarge. */
    filmFactor: filmFactorSchema,
    /** SD of a child's own yearly rate around the table's, the measure's unit a year; null where it does not say. */
    ownRateSd: ownRateSdSchema.nullable(),
    rows: z.array(tableRowSchema).min(2).max(1000),
  })
  .refine(({ rows }) => {
    const keys = rows.map(tableRowKey);
    return new Set(keys).size === keys.length;
  }, 'each sex and age, or stage, once')
  .refine(
    ({ rows }) => rows.every(({ stage }) => (stage === null) === (rows[0]?.stage === null)),
    'all rows by age, or all by stage',
  )
  .refine(({ measure, filmFactor }) => filmFactor === 1 || findMeasure(measure)?.enlarged !== false, {
    path: ['filmFactor'],
    error: 'the factor of an angle, or of what is not read on films, is 1: films do not enlarge it',
  });
export type ImportedTable = z.infer<typeof importedTableSchema>;

/** What makes two rows of a table the same row. */
export function tableRowKey({ sex, ageYears, stage }: ImportedTableRow): string {
  return `${sex} ${stage ?? ageYears}`;
}

/** An imported table as a growth reference: natural sizes at ages, with what is known of their uncertainty. */
export interface ImportedGrowthTable {
  readonly kind: 'imported-table';
  readonly name: string;
  readonly measure: string;
  readonly source: string;
  /** What its printed means were multiplied by. */
  readonly filmFactor: number;
  /** Whether its rows are stages, placed at the ages at which children usually have them. */
  readonly byStage: boolean;
  /** Mean natural size by sex, youngest first; empty for a sex with fewer than two rows that have a place. */
  readonly sizes: Readonly<Record<Sex, SizeByAge>>;
  /** Variance of each mean, in the order of `sizes`, girls first; null unless every row has an SD and a number. */
  readonly meanVariances: readonly number[] | null;
  /** By sex that the table covers: children (0 where not said), rows and ages. */
  readonly series: readonly ReferenceSeries[];
  readonly rateSd: number;
  readonly rateSdGiven: boolean;
}

/**
 * Makes a growth reference of an imported table. Printed means become natural sizes by the table's factor. Rows by
 * stage lie where the stage usually lies about the age of peak growth (`stage-place.ts`); CS5 and CS6 have no place.
 * Means at different ages are taken as independent, each with variance sd^2 / n, as in cross-sectional tables. Where
 * the same children were measured at all ages, that makes intervals too wide rather than too narrow.
 */
export function importedReference(table: ImportedTable): ImportedGrowthTable {
  const placed = sexSchema.options.map((sex) => ({ sex, rows: placedRows(table, sex) }));
  const covered = placed.filter(({ rows }) => rows.length >= 2);
  const rows = covered.flatMap((one) => one.rows);
  const sizesOf = (sex: Sex): SizeByAge =>
    covered.find((one) => one.sex === sex)?.rows.map(({ age, mean }) => [age, mean] as const) ?? [];
  const unit = findMeasure(table.measure)?.unit ?? 'mm';
  return {
    kind: 'imported-table',
    name: table.name,
    measure: table.measure,
    source: table.source,
    filmFactor: table.filmFactor,
    byStage: table.rows[0]?.stage !== null,
    sizes: { female: sizesOf('female'), male: sizesOf('male') },
    meanVariances: knownVariances(rows),
    series: covered.map((one) => seriesOf(one.sex, one.rows)),
    rateSd: table.ownRateSd ?? DEFAULT_OWN_RATE_SD[unit],
    rateSdGiven: table.ownRateSd !== null,
  };
}

interface PlacedRow {
  readonly age: number;
  readonly mean: number;
  readonly variance: number | null;
  readonly n: number | null;
}

function placedRows({ rows, filmFactor }: ImportedTable, sex: Sex): PlacedRow[] {
  return rows
    .flatMap((row): PlacedRow[] => {
      const age = row.sex === sex ? ageOf(row) : null;
      if (age === null) return [];
      const { sd, n } = row;
      const variance = sd === null || n === null ? null : (filmFactor * sd) ** 2 / n;
      return [{ age, mean: filmFactor * row.mean, variance, n }];
    })
    .sort((a, b) => a.age - b.age);
}

/** Null for a stage that places nobody. */
function ageOf({ sex, ageYears, stage }: ImportedTableRow): number | null {
  if (stage === null) return ageYears;
  const place = yearsAfterPeak(stage);
  return place === null ? null : TYPICAL_PEAK_AGES[sex] + place;
}

function knownVariances(rows: readonly PlacedRow[]): number[] | null {
  const variances = rows.flatMap(({ variance }) => (variance === null ? [] : [variance]));
  return variances.length === rows.length ? variances : null;
}

/** The largest number of a row stands for the children: the same ones may stand behind every row. */
function seriesOf(sex: Sex, rows: readonly PlacedRow[]): ReferenceSeries {
  const ages = rows.map(({ age }) => age);
  return {
    sex,
    children: Math.max(0, ...rows.map(({ n }) => n ?? 0)),
    measurements: rows.reduce((sum, { n }) => sum + (n ?? 0), 0),
    ages: [Math.min(...ages), Math.max(...ages)],
  };
}
