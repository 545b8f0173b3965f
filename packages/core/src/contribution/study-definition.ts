import { z } from 'zod';
import { groupingSchema, lossRuleSchema, thresholdSchema } from '../answers/question';
import { importedTableSchema } from '../growth/imported-table';
import { findMeasure } from '../measures';
import { measureCodeSchema } from '../measures/definition';
import { protocolCodeSchema } from '../records/patient';

/**
 * Where expected growth comes from in a pool. Every clinic must read growth in the same way, so nothing is left to
 * each one's choice: its own untreated children by the same model, one table that travels with the definition, or the
 * built-in table.
 */
export const pooledReferenceSchema = z.discriminatedUnion('kind', [
  z.strictObject({ kind: z.literal('own-untreated-series') }),
  z.strictObject({ kind: z.literal('growth-table'), table: importedTableSchema }),
  z.strictObject({ kind: z.literal('built-in-table') }),
]);

/** How far a contribution is coarsened before it leaves (`coarsen.ts`). */
export const coarseningSchema = z.strictObject({
  /** A combination of sex, age, protocol, expansion and maturity shared by fewer patients of a clinic is coarsened. */
  smallestGroup: z.int().min(1).max(100).default(10),
  /** Days are rounded to multiples of this. */
  dayStep: z.int().min(1).max(91).default(7),
  /** Ages leave as the middle of a band this many months wide; for small groups it is doubled, up to 24. */
  ageStepMonths: z.int().min(1).max(24).default(3),
  /**
   * What becomes of patients who share what leaves with too few even after all coarsening. `keep`: they leave and the
   * clinic is told, because leaving out the rare ones changes the answer in a way that no statistics can mend.
   * `leave-out`: they stay at home and are counted.
   */
  smallGroups: z.enum(['keep', 'leave-out']).default('keep'),
});

/** A list in which nothing stands twice. */
function each<Item extends z.ZodType<string | number>>(item: Item, name: string): z.ZodArray<Item> {
  return z.array(item).refine((items) => new Set(items).size === items.length, `${name}, each of them once`);
}

/** Everything that a study group agrees on, so that all clinics compute the same thing. Versioned by the coordinator. */
export const studyDefinitionSchema = z.strictObject({
  measures: each(
    measureCodeSchema.refine((code) => findMeasure(code) !== undefined, 'a measure of the catalogue'),
    'measures',
  )
    .min(1)
    .max(30),
  threshold: thresholdSchema,
  rule: lossRuleSchema,
  reference: pooledReferenceSchema,
  groupBy: groupingSchema,
  /** The shared list of protocols; a clinic's other protocols leave as null. */
  protocols: each(protocolCodeSchema, 'protocols').max(50),
  /** Years after the end of active treatment at which results are given. */
  years: each(z.int().min(1).max(20), 'years').min(1).max(20),
  level: z.number().gt(0.5).lt(1).default(0.95),
  /** No count from 1 up to one below this is shown to others, or can be worked out. */
  smallestCell: z.int().min(1).max(100).default(10),
  coarsening: coarseningSchema,
  /** The study agreement lets centres read each other's pseudonymised records; else only their own and pooled results. */
  recordsShared: z.boolean().default(false),
});
export type StudyDefinition = z.infer<typeof studyDefinitionSchema>;

/**
 * Whether everything that leaves a clinic is the same under both definitions, and who may read it: measures, protocols,
 * coarsening, the smallest cell, whether untreated children are asked for, and whether records are shared. Then records
 * that were sent under one count under the other. Threshold, rule, years and groups decide only what is computed from
 * them. A clinic is in the pool of a version all the same only once it has confirmed that version (its sheet).
 */
export function sameContribution(a: StudyDefinition, b: StudyDefinition): boolean {
  const deciding = ({
    measures,
    protocols,
    coarsening,
    smallestCell,
    reference,
    recordsShared,
  }: StudyDefinition): string =>
    JSON.stringify([
      recordsShared,
      [...measures].sort(),
      [...protocols].sort(),
      coarsening.smallestGroup,
      coarsening.dayStep,
      coarsening.ageStepMonths,
      coarsening.smallGroups,
      smallestCell,
      reference.kind === 'own-untreated-series',
    ]);
  return deciding(a) === deciding(b);
}
