import { splitLeftOutSchema, splitSpanSchema } from '@longhold/core/answers';
import { patientCodeSchema } from '@longhold/core/records';
import { z } from 'zod';
import { readingColumnsSchema } from './results-columns';
import { limitsSchema, ratioFields } from './results-parts';

/** What gave way, in results.json. Every field says what it is. */

const partMeanSchema = z.strictObject({
  name: z.string().describe('what moved'),
  mean: z.number().describe('mean, favourable direction positive; mm, degrees for the turn'),
  limits: limitsSchema.nullable().describe('confidence limits; null for one patient'),
  untreated: z
    .strictObject({
      mean: z.number().describe('mean of untreated children of the same ages, scaled to the same time'),
      n: z.number().describe('children'),
    })
    .nullable()
    .describe('untreated children; null where fewer than five'),
  beyondUntreated: z
    .strictObject({
      estimate: z.number().describe('treated less untreated'),
      limits: limitsSchema.describe("Welch's limits"),
    })
    .nullable()
    .describe('difference from untreated children'),
});
const splitsSchema = z.array(
  z.strictObject({
    span: splitSpanSchema.describe('between which records'),
    n: z.number().describe('patients with all points at both records'),
    leftOut: z
      .array(
        z.strictObject({
          reason: splitLeftOutSchema.describe('reason'),
          codes: z.array(patientCodeSchema).describe('patients'),
        }),
      )
      .describe('patients with both records who are not in it'),
    withoutRecords: z.number().describe('patients without both records'),
    years: z.number().nullable().describe('mean years between the records'),
    whole: partMeanSchema.nullable().describe('the whole; null for nobody'),
    parts: z.array(partMeanSchema).describe('its parts, which sum to it'),
    skeletalShare: z.strictObject(ratioFields).nullable().describe('skeletal share of the whole'),
  }),
);

export const gaveWaySchema = z.strictObject({
  year: z.number().nullable().describe('year up to which it is told'),
  overjet: splitsSchema.describe('overjet'),
  molar: splitsSchema.describe('molar relation'),
  chin: splitsSchema.describe('chin position'),
  turn: z
    .array(
      z.strictObject({
        span: splitSpanSchema.describe('between which records'),
        degrees: partMeanSchema.nullable().describe('turn of the lower jaw, forward positive'),
      }),
    )
    .describe('turn of the lower jaw in degrees'),
  agreement: z
    .strictObject({
      n: z.number().describe('children'),
      mean: z.number().describe('mean overjet as recorded less that of the points'),
      limits: limitsSchema.describe('confidence limits'),
    })
    .nullable()
    .describe('overjet as recorded against the points of the film'),
  readings: readingColumnsSchema.describe('the readings of treated patients behind these parts'),
});
