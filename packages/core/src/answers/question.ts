import { z } from 'zod';
import { growthTableNameSchema } from '../growth/imported-table';
import { measureCodeSchema } from '../measures/definition';
import { isoDateSchema } from '../records/calendar';
import { maturityGroupSchema } from '../records/maturity-group';
import { protocolCodeSchema } from '../records/patient';
import { filmFactorSchema } from '../records/visit';
import { sexSchema } from '../records/vocabulary';
import type { LossRule } from '../survival';

/** When is a gain still there? While a share of it is kept, or while it stays above an absolute floor. */
export const thresholdSchema = z.discriminatedUnion('kind', [
  z.strictObject({ kind: z.literal('share'), share: z.number().gt(0).lt(1) }),
  /** In the unit of the measure (mm or degrees). */
  z.strictObject({ kind: z.literal('floor'), amount: z.number().gt(0).max(50) }),
]);
export type Threshold = z.infer<typeof thresholdSchema>;

/** The loss rules; `survival/loss-interval.ts` says what each means. */
export const lossRuleSchema = z.enum([
  'any-visit',
  'beyond-error',
  'confirmed',
]) satisfies z.ZodType<LossRule>;

/**
 * Where expected growth comes from. `auto` takes the untreated series when it can carry a curve, else a table that the
 * clinic imported, else the built-in one.
 */
export const referenceChoiceSchema = z.enum(['auto', 'untreated-series', 'imported-table', 'built-in-table']);
export type ReferenceChoice = z.infer<typeof referenceChoiceSchema>;

/**
 * The clock by which expected growth is read: a child's age, or that age moved to where the child's stage of
 * maturity at the start of treatment places it on the growth curve of its sex.
 */
export const growthClockSchema = z.enum(['age', 'maturity']);
export type GrowthClockChoice = z.infer<typeof growthClockSchema>;

/** By what the survival curves are told apart. */
export const groupingSchema = z.enum(['protocol', 'expansion', 'sex', 'maturity', 'gain']);
export type Grouping = z.infer<typeof groupingSchema>;

/** Which treated patients are asked about; null means all. */
const patientFilterSchema = z.strictObject({
  protocol: protocolCodeSchema.nullable().default(null),
  sex: sexSchema.nullable().default(null),
  expansion: z.boolean().nullable().default(null),
  /** Maturity at the start of treatment. */
  maturity: maturityGroupSchema.nullable().default(null),
});

/** Everything that decides an outcome answer, apart from the records themselves. */
export const outcomeQuestionSchema = z.strictObject({
  measure: measureCodeSchema.default('Co-Gn'),
  threshold: thresholdSchema.default({ kind: 'share', share: 0.75 }),
  rule: lossRuleSchema.default('confirmed'),
  reference: referenceChoiceSchema.default('auto'),
  /** Name of the imported table to use, where one is used; null takes the first of the measure, by name. */
  table: growthTableNameSchema.nullable().default(null),
  growthClock: growthClockSchema.default('age'),
  /**
   * What measured lengths are multiplied by to give natural size, at visits whose films carry no factor of their own;
   * null where it is not known, and then lengths from such films are not used.
   */
  filmFactor: filmFactorSchema.nullable().default(null),
  /** What the method error in force is multiplied by; other than 1 only to see how much hangs on it. */
  errorFactor: z.number().min(0.25).max(4).default(1),
  groupBy: groupingSchema.default('protocol'),
  filter: patientFilterSchema.default({ protocol: null, sex: null, expansion: null, maturity: null }),
  /** The day up to which the records are read; null takes the latest date in them. */
  asOf: isoDateSchema.nullable().default(null),
  /** Confidence level of every interval. */
  level: z.number().gt(0.5).lt(1).default(0.95),
  /** Bootstrap resamples behind the interval of the interval-censored curve. */
  resamples: z.int().min(50).max(20_000).default(500),
  seed: z.int().min(0).max(2_147_483_647).default(1),
});
export type OutcomeQuestion = z.infer<typeof outcomeQuestionSchema>;
/** A question as a caller may write it, with anything left out that has a default. */
export type OutcomeQuestionInput = z.input<typeof outcomeQuestionSchema>;
