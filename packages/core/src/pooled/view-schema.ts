import { z } from 'zod';
import { countSchema, leftOutReasonSchema, notSeenReasonSchema } from './centre-statistics';
import type { OwnPart, PooledView, ViewedMeasure } from './view';

/*
 * The pooled answer as a viewer may see it, as it goes over a wire and into a report's numbers.
 */

const number = z.number();
const shownCount = (words: string) =>
  countSchema
    .nullable()
    .describe(`${words}; null where withheld, or where it would give another number away`);
const wholeYear = z.int().min(1).max(20);
const year = wholeYear.describe('year after the end of active treatment');
export const refusalSchema = z.strictObject({
  refused: z.string().max(60).describe('code of the reason why there is no result'),
  message: z.string().max(1000).describe('the reason in a sentence'),
});
const limitsSchema = z.strictObject({
  lower: number.describe('lower confidence limit'),
  upper: number.describe('upper confidence limit'),
});
const rangeSchema = z.strictObject({
  lower: number.describe('lower end of the range'),
  upper: number.describe('upper end of the range'),
});

export const intervalSchema = z.discriminatedUnion('kind', [
  z.strictObject({ kind: z.literal('bounded'), lower: number, upper: number }),
  z.strictObject({ kind: z.literal('unbounded'), lower: number, upper: number }),
  z.strictObject({ kind: z.literal('at-least'), lower: number }),
  z.strictObject({ kind: z.literal('at-most'), upper: number }),
  z.strictObject({ kind: z.literal('whole-line') }),
]);
const shownInterval = intervalSchema.describe(
  'confidence set: `kind` and the limits it has; `bounded`: between them; `unbounded`: below the lower or above the upper; `at-least`, `at-most`: one end only; `whole-line`: anything',
);

const meanSchema = z.strictObject({
  centres: z.int().min(2).describe('centres with an estimate of their own'),
  estimate: number.describe('the mean, in the unit of the quantity'),
  limits: limitsSchema.describe('its confidence limits'),
  p: number.nullable().describe('two-sided p of zero; null on a scale on which zero has no meaning'),
  prediction: rangeSchema
    .nullable()
    .describe(
      'where the true value of a further centre is expected; null for two centres and where withheld',
    ),
  tauSquared: number
    .nullable()
    .describe('variance of the true values between centres, on the scale of pooling; null where withheld'),
  tauSquaredLimits: limitsSchema.nullable().describe('its Q-profile limits; null where withheld'),
  iSquared: number
    .nullable()
    .describe('share of the variance that lies between centres, 0 to 1; null where withheld'),
  q: number.nullable().describe("Cochran's statistic of one true value in all centres; null where withheld"),
  qDegreesOfFreedom: z.int().describe('its degrees of freedom'),
  qP: number.nullable().describe('its p; null where withheld'),
  commonSd: number.describe(
    'part of the standard error, on the scale of pooling, that a shared growth table brings in whatever the centres',
  ),
  warnings: z
    .array(
      z.enum([
        'one-degree-of-freedom',
        'floor-applied',
        'shorter-than-wald',
        'too-alike',
        'no-scatter',
        'carried-by-few',
        'several-modes',
      ]),
    )
    .describe('codes of what is to be borne in mind'),
});
const oneStageSchema = z.strictObject({
  estimate: number.describe('the estimate'),
  interval: shownInterval,
});
const centreName = z.string().max(60).describe('id by which the service knows the centre');
const ownRowSchema = z.strictObject({
  centre: centreName,
  patients: z.int().min(0).describe('its patients; for a curve those at risk'),
  estimate: number.describe("the centre's own estimate"),
  interval: shownInterval,
});
const rowSchema = ownRowSchema.extend({
  weight: number.nullable().describe('its share in the mean, 0 to 1; null where there is no mean'),
  pooledAs: z
    .strictObject({
      value: number.describe('estimate on the scale of pooling'),
      variance: number.describe("its variance that is the centre's alone"),
      commonSd: number.describe(
        'its standard deviation that comes from a shared growth table; 0 where there is none',
      ),
    })
    .nullable()
    .default(null)
    .describe(
      'what the mean was made from; null where another row is withheld, and in an answer from before rows told it',
    ),
});

const quantitySchema = z.strictObject({
  kind: z
    .enum(['retained-share', 'survival', 'lasting', 'forward', 'lasting-share'])
    .describe(
      '`retained-share`: share of the gain kept; `survival`: share of patients who still have it; `lasting`: lasting gain; `forward`: years by which growth was brought forward; `lasting-share`: share of the gain that lasts',
    ),
  year: wholeYear.nullable().describe('year after the end of active treatment; null for what has no year'),
  scale: z
    .enum(['identity', 'log-minus-log'])
    .describe('scale of pooling: as it is, or log(-log S), which falls as S rises'),
  patients: shownCount('patients of all centres behind it, at risk for a curve'),
  twoStage: z
    .union([meanSchema, refusalSchema])
    .nullable()
    .describe('mean over centres; null where withheld'),
  oneStage: z
    .union([oneStageSchema, refusalSchema])
    .nullable()
    .describe('all patients as one series; null where withheld'),
  between: rangeSchema
    .nullable()
    .describe(
      'between which shares a curve of all patients lies, where too few losses are behind it for the share to be told; else null',
    ),
  own: ownRowSchema
    .nullable()
    .describe("the asking centre's own estimate; null for others than a centre, and where it has none"),
  rows: z.array(rowSchema).describe('centres whose rows may be shown; empty for who sees the pool only'),
  withoutOne: z
    .array(
      z.strictObject({
        centre: centreName,
        estimate: number.describe('the mean without this centre'),
        limits: limitsSchema.describe('its confidence limits'),
        iSquared: number.describe('share of the variance that then lies between centres'),
        commonSd: number.describe('standard deviation that a shared growth table then brings in'),
      }),
    )
    .describe('the mean with one of these centres left out at a time'),
  leftOut: z
    .array(z.strictObject({ centre: centreName, why: refusalSchema.describe('why it takes no part') }))
    .describe('centres without an estimate of their own, as far as they may be named'),
  rowsWithheld: z
    .int()
    .min(0)
    .nullable()
    .describe('centres whose row is withheld; null for who sees the pool only'),
});

const flowYearSchema = z.strictObject({
  year,
  eligible: shownCount('patients whose window of that year has closed'),
  seen: shownCount('of these, seen in the window'),
  measured: shownCount('of these, with a usable value'),
  notSeen: z
    .record(notSeenReasonSchema, countSchema.nullable())
    .describe('eligible but not seen, by reason; null where withheld'),
});

const testSchema = z.strictObject({
  statistic: number.nullable().describe('chi-squared statistic; null where only p is told'),
  degreesOfFreedom: z.int().describe('degrees of freedom'),
  p: number.describe('p'),
});
const shownTest = (words: string) =>
  z.union([testSchema, refusalSchema]).nullable().describe(`${words}; null where withheld`);
const partsSchema = z.strictObject({
  lasting: number.describe('of the lasting gain, unit of the measure'),
  forward: number.describe('of the years brought forward'),
});
const spreadSchema = z.strictObject({
  patients: partsSchema.describe('SD between patients of one centre'),
  centres: partsSchema.describe('SD between centres'),
  residual: number.describe("SD around a patient's own course"),
  structure: z.enum(['full', 'diagonal']).describe("whether patients' departures may be correlated"),
  gains: z.int().min(0).describe('gains behind the model'),
});
const probabilitySchema = z.strictObject({
  probability: number
    .nullable()
    .describe(
      'share of patients; null where nobody was followed that long, or where withheld: then it lies between the limits',
    ),
  standardError: number.nullable().describe('its standard error; null where withheld'),
  lower: number.nullable().describe('lower confidence limit'),
  upper: number.nullable().describe('upper confidence limit'),
});

const groupSchema = z.strictObject({
  label: z.string().max(60).describe('the group'),
  patients: shownCount('its patients in the risk set'),
  atYears: z
    .array(
      z.strictObject({
        year,
        patients: shownCount('of these at risk'),
        oneStage: z
          .union([oneStageSchema, refusalSchema])
          .nullable()
          .describe('share who still have the gain; null where withheld'),
      }),
    )
    .describe('its curve read off at whole years'),
});

const carriedCentresSchema = z.strictObject({
  carried: countSchema.describe('centres whose limits hold it'),
  'not-known': countSchema.describe('centres in which it is not known'),
  none: countSchema.describe('centres in which there is none'),
});

/** One measure of a pooled answer as a viewer may see it; strict, with a description of each field. */
export const viewedMeasureSchema: z.ZodType<ViewedMeasure> = z.strictObject({
  measure: z.string().max(60).describe('code of the measure'),
  centres: z.int().min(0).describe('centres in the pool of this measure'),
  treated: shownCount('treated patients'),
  treatedBetween: rangeSchema.describe('numbers between which that lies, in wide steps'),
  inRiskSet: shownCount('of these, in the risk set of the curve'),
  leftOut: z
    .array(
      z.strictObject({
        reason: leftOutReasonSchema.describe('why they are not in the risk set'),
        patients: shownCount('patients'),
      }),
    )
    .describe('treated patients who are not in the risk set'),
  flow: z.array(flowYearSchema).describe('who was seen in each year, all centres together'),
  flowByCentre: z
    .array(z.strictObject({ centre: centreName, flow: z.array(flowYearSchema).describe('by year') }))
    .describe('the same of each centre that may be shown; a centre sees its own in full'),
  quantities: z.array(quantitySchema).describe('what is pooled: by year, then the parts of the gain'),
  carried: z
    .strictObject({
      growthReference: carriedCentresSchema.describe('doubt about expected growth'),
      methodError: carriedCentresSchema.describe('doubt about the method error'),
    })
    .optional()
    .describe('whose doubt the limits of survival hold; left out by services from before'),
  survivalDifferences: shownTest('test that all centres lose the gain at the same times'),
  separationDifferences: shownTest('test that both parts of the gain are the same in all centres'),
  spread: z
    .union([spreadSchema, refusalSchema])
    .nullable()
    .describe('how patients and centres differ in the one model of all patients; null where withheld'),
  groups: z.array(groupSchema).describe('curves of the groups, all centres together'),
  groupTest: shownTest('test that all groups lose the gain at the same times, within centres'),
  competing: z
    .array(
      z.strictObject({
        year,
        neither: probabilitySchema.describe('neither lost nor treated again'),
        lost: probabilitySchema.describe('lost first'),
        treatedAgain: probabilitySchema.describe('treated again first'),
      }),
    )
    .describe('loss and second treatment as competing events, all patients together'),
});

/** A pooled answer as a viewer may see it; strict. */
export const pooledViewSchema: z.ZodType<PooledView> = z.strictObject({
  definitionVersion: z.int().min(1),
  level: number,
  smallestCell: z.int().min(1),
  countStep: z.int().min(1),
  viewer: z.enum(['coordinator', 'centre', 'reader']),
  measures: z.array(viewedMeasureSchema),
});

/** A centre's own part of a pooled answer; strict. */
export const ownPartSchema: z.ZodType<OwnPart> = z.strictObject({
  centre: centreName,
  measures: z.array(
    z.strictObject({
      measure: z.string().max(60),
      flow: z.array(flowYearSchema),
      rows: z.array(ownRowSchema.nullable()),
    }),
  ),
});
