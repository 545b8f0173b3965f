import { z } from 'zod';

/** Pieces of results.json that occur more than once. Every field says what it is; docs/report.md is made from that. */

export const limitsSchema = z.strictObject({
  lower: z.number().describe('lower confidence limit'),
  upper: z.number().describe('upper confidence limit'),
});

/** Limits of a set that may have one end only. */
export const oneEndedLimitsSchema = z.strictObject({
  lower: z.number().nullable().describe('lower confidence limit; null: no lower end'),
  upper: z.number().nullable().describe('upper confidence limit; null: no upper end'),
});

/**
 * A ratio with its confidence set in fields that always exist. `intervalKind` says how to read the limits:
 * `bounded` between them; `unbounded` everything outside them; `at-least` and `at-most` one side of one end;
 * `whole-line` none.
 */
export const ratioFields = {
  estimate: z.number().nullable().describe('the share; 1 is the whole; null where it cannot be computed'),
  limits: oneEndedLimitsSchema
    .nullable()
    .describe("limits of Fieller's confidence set; read them by `intervalKind`"),
  intervalKind: z
    .enum(['bounded', 'unbounded', 'at-least', 'at-most', 'whole-line'])
    .nullable()
    .describe(
      '`bounded`: the share lies between the limits; `unbounded`: below the lower or above the upper; `at-least`, `at-most`: one end only; `whole-line`: it may be anything, and there are no limits',
    ),
};

export const statusSchema = z.strictObject({
  verdict: z
    .enum(['held', 'lost', 'cannot-tell', 'not-measurable', 'no-follow-up', 'treated-again'])
    .describe('what became of the gain'),
  reason: z
    .enum([
      'measurement',
      'growth',
      'gain-not-measurable',
      'gain-below-floor',
      'no-baseline',
      'film-factor-unknown',
      'no-reference',
      'treated-again',
    ])
    .nullable()
    .describe('why it cannot be told, or why there is no verdict'),
});

export const survivalAtYearSchema = z.strictObject({
  year: z.number().describe('years since the end of active treatment'),
  estimate: z
    .number()
    .nullable()
    .describe('share who still have the gain; null where nobody was followed that long'),
  limits: limitsSchema.nullable().describe('pointwise confidence limits'),
  atRisk: z.number().describe('patients still followed at that time and not yet seen lost'),
  undefinedWithin: limitsSchema
    .nullable()
    .describe('where the year lies in an interval without a defined curve: its values at the two ends'),
});

export const curvePointSchema = z.strictObject({
  time: z.number().describe('years since the end of active treatment'),
  survival: z.number().describe('share who still have the gain from this time on'),
  lower: z.number().describe('lower confidence limit'),
  upper: z.number().describe('upper confidence limit'),
});

/** A mean gain of treatment over patients. */
export const groupGainSchema = z.strictObject({
  n: z.number().describe('patients with a gain'),
  mean: z.number().describe('mean gain of active treatment'),
  sd: z.number().describe('SD between patients'),
  limits: limitsSchema.describe('limits of the mean'),
});

/** Why a treated patient is not in the risk set. */
export const leftOutReasonSchema = z.enum([
  'no-consent',
  'no-start-value',
  'no-end-value',
  'film-factor-unknown',
  'no-reference',
  'gain-not-measurable',
  'gain-below-floor',
  'no-follow-up',
]);

/** Mean years with the gain, of the first so many. */
export const restrictedMeanSchema = z.strictObject({
  until: z.number().describe('years that are counted'),
  estimate: z.number().describe('mean years with the gain, of these'),
  undefinedWithin: limitsSchema.describe('how far undefined stretches of the curve can move it'),
  limits: limitsSchema.describe("reach of the curve's limits, shortened by how the resampled areas vary"),
});
