import { z } from 'zod';
import { countSchema, leftOutReasonSchema, notSeenReasonSchema } from './centre-statistics';
import type { OwnPart, PooledView } from './view';

/*
 * The pooled answer as a viewer may see it, as it goes over a wire; what each field means stands in `view.ts`.
 */

const number = z.number();
const shownCount = countSchema.nullable();
const year = z.int().min(1).max(20);
export const refusalSchema = z.strictObject({ refused: z.string().max(60), message: z.string().max(1000) });
const limitsSchema = z.strictObject({ lower: number, upper: number });

export const intervalSchema = z.discriminatedUnion('kind', [
  z.strictObject({ kind: z.literal('bounded'), lower: number, upper: number }),
  z.strictObject({ kind: z.literal('unbounded'), lower: number, upper: number }),
  z.strictObject({ kind: z.literal('at-least'), lower: number }),
  z.strictObject({ kind: z.literal('at-most'), upper: number }),
  z.strictObject({ kind: z.literal('whole-line') }),
]);

const meanSchema = z.strictObject({
  centres: z.int().min(2),
  estimate: number,
  limits: limitsSchema,
  p: number.nullable(),
  prediction: limitsSchema.nullable(),
  tauSquared: number.nullable(),
  tauSquaredLimits: limitsSchema.nullable(),
  iSquared: number.nullable(),
  q: number.nullable(),
  qDegreesOfFreedom: z.int(),
  qP: number.nullable(),
  commonSd: number,
  warnings: z.array(
    z.enum([
      'one-degree-of-freedom',
      'floor-applied',
      'shorter-than-wald',
      'too-alike',
      'no-scatter',
      'carried-by-few',
      'several-modes',
    ]),
  ),
});
const oneStageSchema = z.strictObject({ estimate: number, interval: intervalSchema });
const centreName = z.string().max(60);
const ownRowSchema = z.strictObject({
  centre: centreName,
  patients: z.int().min(0),
  estimate: number,
  interval: intervalSchema,
});

const quantitySchema = z.strictObject({
  kind: z.enum(['retained-share', 'survival', 'lasting', 'forward', 'lasting-share']),
  year: year.nullable(),
  scale: z.enum(['identity', 'log-minus-log']),
  patients: shownCount,
  twoStage: z.union([meanSchema, refusalSchema]).nullable(),
  oneStage: z.union([oneStageSchema, refusalSchema]).nullable(),
  between: limitsSchema.nullable(),
  own: ownRowSchema.nullable(),
  rows: z.array(ownRowSchema.extend({ weight: number.nullable() })),
  withoutOne: z.array(
    z.strictObject({ centre: centreName, estimate: number, limits: limitsSchema, iSquared: number }),
  ),
  leftOut: z.array(z.strictObject({ centre: centreName, why: refusalSchema })),
  rowsWithheld: z.int().min(0).nullable(),
});

const flowYearSchema = z.strictObject({
  year,
  eligible: shownCount,
  seen: shownCount,
  measured: shownCount,
  notSeen: z.record(notSeenReasonSchema, shownCount),
});

const testSchema = z.strictObject({ statistic: number.nullable(), degreesOfFreedom: z.int(), p: number });
const shownTestSchema = z.union([testSchema, refusalSchema]).nullable();
const partsSchema = z.strictObject({ lasting: number, forward: number });
const spreadSchema = z.strictObject({
  patients: partsSchema,
  centres: partsSchema,
  residual: number,
  structure: z.enum(['full', 'diagonal']),
  gains: z.int().min(0),
});
const probabilitySchema = z.strictObject({
  probability: number.nullable(),
  standardError: number.nullable(),
  lower: number.nullable(),
  upper: number.nullable(),
});

const groupSchema = z.strictObject({
  label: z.string().max(60),
  patients: shownCount,
  atYears: z.array(
    z.strictObject({
      year,
      patients: shownCount,
      oneStage: z.union([oneStageSchema, refusalSchema]).nullable(),
    }),
  ),
});

const measureSchema = z.strictObject({
  measure: z.string().max(60),
  centres: z.int().min(0),
  treated: shownCount,
  treatedBetween: limitsSchema,
  inRiskSet: shownCount,
  leftOut: z.array(z.strictObject({ reason: leftOutReasonSchema, patients: shownCount })),
  flow: z.array(flowYearSchema),
  flowByCentre: z.array(z.strictObject({ centre: centreName, flow: z.array(flowYearSchema) })),
  quantities: z.array(quantitySchema),
  survivalDifferences: shownTestSchema,
  separationDifferences: shownTestSchema,
  spread: z.union([spreadSchema, refusalSchema]).nullable(),
  groups: z.array(groupSchema),
  groupTest: shownTestSchema,
  competing: z.array(
    z.strictObject({
      year,
      neither: probabilitySchema,
      lost: probabilitySchema,
      treatedAgain: probabilitySchema,
    }),
  ),
});

/** A pooled answer as a viewer may see it; strict. */
export const pooledViewSchema: z.ZodType<PooledView> = z.strictObject({
  definitionVersion: z.int().min(1),
  level: number,
  smallestCell: z.int().min(1),
  countStep: z.int().min(1),
  viewer: z.enum(['coordinator', 'centre', 'reader']),
  measures: z.array(measureSchema),
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
