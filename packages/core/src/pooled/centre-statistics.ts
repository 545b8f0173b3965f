import { z } from 'zod';
import type { LeftOutReason, NotSeenReason } from '../answers';
import type { Carried } from '../answers/drawn-losses';
import {
  contributionFlowSchema,
  dayFromZeroSchema,
  pooledMethodErrorSchema,
} from '../contribution/pooled-record';
import { measureCodeSchema } from '../measures/definition';

/*
 * All that a pool needs of one centre, in place of its records: sums and counts from which the pooled results come out
 * as they would from the records. The service keeps one such object for each centre; a centre that may not send records
 * makes it at home and sends only that. No pseudonym, no date, no order that says who is who. The sums of one patient's
 * gains are still data of one person (docs/methods.md, pooling).
 */

/** A number of patients. */
export const countSchema = z.int().min(0).max(10_000_000);
const amountSchema = z.number().min(-1e12).max(1e12);
const squaresSchema = z.number().min(0).max(1e12);

/** A symmetric 2 x 2 matrix for the gain at the end of active treatment and the gain now. Unit squared. */
const pairCovarianceSchema = z.strictObject({
  end: squaresSchema,
  both: amountSchema,
  now: squaresSchema,
});

export const leftOutReasonSchema = z.enum([
  'no-consent',
  'no-start-value',
  'no-end-value',
  'no-reference',
  'gain-not-measurable',
  'gain-below-floor',
  'no-follow-up',
  'film-factor-unknown',
]) satisfies z.ZodType<LeftOutReason>;

export const notSeenReasonSchema = z.enum([
  'withdrew',
  'moved',
  'declined',
  'treated-again',
  'no-consent',
  'not-known',
]) satisfies z.ZodType<NotSeenReason>;

/** Who was seen in one year after the end of active treatment. */
const flowYearSchema = z.strictObject({
  year: z.int().min(1).max(20),
  /** Patients whose year's window has closed. */
  eligible: countSchema,
  seen: countSchema,
  /** Seen, and with a value that could be adjusted for growth. */
  measured: countSchema,
  notSeen: z.record(notSeenReasonSchema, countSchema),
});
export type CentreFlowYear = z.infer<typeof flowYearSchema>;

/**
 * Sums over the patients seen in one year's window, each with the gain at the end of active treatment (`end`) and the
 * gain then (`now`): enough for the ratio of their means and Fieller's set.
 */
const retentionYearSchema = z.strictObject({
  year: z.int().min(1).max(20),
  patients: countSchema,
  /** Sums of the gains. */
  end: amountSchema,
  now: amountSchema,
  /** Sums of squares and products of the gains less their means. */
  scatter: pairCovarianceSchema,
  /** Covariance of the two means that comes from the growth curve alone; zeros where the curve is taken as known. */
  curve: pairCovarianceSchema,
});
export type RetentionSums = z.infer<typeof retentionYearSchema>;

/** How many patients have one loss interval: lost after `left` and not later than `right`, in days. */
const lossCountSchema = z
  .strictObject({
    /** By the definition's grouping; null where it is not recorded. */
    group: z.string().max(60).nullable(),
    left: dayFromZeroSchema.min(0),
    /** Null: not seen lost by `left`. */
    right: dayFromZeroSchema.min(0).nullable(),
    patients: countSchema.min(1),
  })
  .refine(({ left, right }) => right === null || left <= right, 'an interval does not end before it begins');
export type LossCount = z.infer<typeof lossCountSchema>;

/** How many patients' follow-up ended on a day in one way: loss found, treated again before that, or neither. */
const endingCountSchema = z.strictObject({
  day: dayFromZeroSchema.min(0),
  ending: z.enum(['lost', 'treated-again', 'neither']),
  patients: countSchema.min(1),
});
export type EndingCount = z.infer<typeof endingCountSchema>;

/**
 * One patient's gains in sums of products. With a row [1, v, A] for each gain A, v the expected growth velocity at its
 * age, the sums of products are R'R; here stand the number of rows and the upper triangle R (11, 12, 13, 22, 23, 33),
 * which says the same and keeps twice the digits. Diagonal entries are not negative.
 */
const gainSumsSchema = z.tuple([
  z.int().min(1).max(1000),
  squaresSchema,
  amountSchema,
  amountSchema,
  squaresSchema,
  amountSchema,
  squaresSchema,
]);
export type GainSums = z.infer<typeof gainSumsSchema>;

/** Covariance, from the growth curve alone, of T, S and the mean velocity at the end of active treatment. */
const curveOfPartsSchema = z.strictObject({
  lasting: squaresSchema,
  both: amountSchema,
  passing: squaresSchema,
  lastingVelocity: amountSchema,
  passingVelocity: amountSchema,
  velocity: squaresSchema,
});
export type CurveOfParts = z.infer<typeof curveOfPartsSchema>;

/** Draws of a growth table that all centres share; the same at every centre, so that their curves move together. */
export const SHARED_DRAWS = 60;
const MOST_DRAWS = 200;

/**
 * How far some quantities of a centre would lie elsewhere if its growth reference and its method error were off by as
 * much as they may be, its patients staying the same.
 */
function movesSchema(most: number) {
  return z.strictObject({
    /**
     * Covariance of the quantities from what is uncertain at this centre alone, upper triangle row by row: growth curve of
     * its own untreated children, method error. Zeros where there is none.
     */
    own: z.array(amountSchema).max((most * (most + 1)) / 2),
    /**
     * Under each draw of the growth table that all centres share, by how much each quantity differs from its estimate.
     * Draw by draw the same at all centres. Empty where the reference is not a table with known standard errors.
     */
    shared: z.array(z.array(amountSchema).max(most)).max(MOST_DRAWS),
  });
}
const yearMovesSchema = movesSchema(20);
/** Quantities in the order of the definition's years, rising, or of the groups. */
export type Moves = z.infer<typeof yearMovesSchema>;

const carriedSchema = z.enum(['carried', 'not-known', 'none']) satisfies z.ZodType<Carried>;
const MOST_GROUPS = 60;

/**
 * What the curves owe to errors of the growth reference and of the method error. Quantities of fewer patients than the
 * study's smallest cell, and those from which they could be worked out, are not in it.
 */
const doubtSchema = z.strictObject({
  carried: z.strictObject({ growthReference: carriedSchema, methodError: carriedSchema }),
  /** Survival at each year; null where nothing is carried. */
  survival: yearMovesSchema.nullable(),
  /** The same for the groups of the definition. */
  groups: z.array(z.strictObject({ group: z.string().max(60), survival: yearMovesSchema })).max(MOST_GROUPS),
  /** Sums of the groups' scores in the score test within this centre; null for fewer than two groups. */
  scores: z
    .strictObject({ groups: z.array(z.string().max(60)).max(MOST_GROUPS), moves: movesSchema(MOST_GROUPS) })
    .nullable(),
  /** Cumulative incidences at each year: neither, loss of the gain, a second treatment. */
  incidence: z
    .strictObject({ neither: yearMovesSchema, lost: yearMovesSchema, treatedAgain: yearMovesSchema })
    .nullable(),
});
export type CentreDoubt = z.infer<typeof doubtSchema>;

/** What one centre knows of one measure. */
const measureStatisticsSchema = z.strictObject({
  measure: measureCodeSchema,
  /** In force at the centre; null where the catalogue's default is. */
  methodError: pooledMethodErrorSchema.nullable(),
  /**
   * Where expected growth came from. `own`: the centre's untreated children, so that its error is the centre's own.
   * `common`: a table, so that its error is the same in all centres.
   */
  reference: z.strictObject({
    kind: z.enum(['own', 'common', 'not-needed', 'none']),
    /** Untreated children behind it; 0 where it is not the centre's own. */
    children: countSchema,
  }),
  /** Treated patients who are not in the risk set of the survival curve, by reason. */
  leftOut: z.array(z.strictObject({ reason: leftOutReasonSchema, patients: countSchema.min(1) })).max(20),
  flow: z.array(flowYearSchema).max(20),
  retention: z.array(retentionYearSchema).max(20),
  losses: z.array(lossCountSchema).max(200_000),
  endings: z.array(endingCountSchema).max(200_000),
  /** Left out by programs that do not know it; then what it holds is not known. */
  doubt: doubtSchema.optional(),
  separation: z.strictObject({
    /** In rising order of their numbers, so that the order says nothing of who is who. */
    patients: z.array(gainSumsSchema).max(1_000_000),
    /** Sum, over `endPatients`, of the expected velocity at the end of active treatment in the favourable direction. */
    endVelocity: amountSchema,
    endPatients: countSchema,
    /** Null where the curve is taken as known, or the parts could not be told apart. */
    curve: curveOfPartsSchema.nullable(),
  }),
});
export type MeasureStatistics = z.infer<typeof measureStatisticsSchema>;

/** All that a pool needs of one centre under one version of the study definition. */
export const centreStatisticsSchema = z.strictObject({
  /** Of this schema. */
  form: z.literal(1),
  /** Version of the study definition. */
  definition: z.int().min(1),
  /** Version of the program that made it. */
  software: z.string().regex(/^\d{1,4}\.\d{1,4}\.\d{1,4}$/),
  /** Patients of the centre who are not in its contribution. */
  flow: contributionFlowSchema,
  treated: countSchema,
  untreated: countSchema,
  /** In the definition's order. */
  measures: z.array(measureStatisticsSchema).max(30),
});
export type CentreStatistics = z.infer<typeof centreStatisticsSchema>;
