import { studyDefinitionSchema } from '@longhold/core/contribution';
import { roleSchema } from '@longhold/core/exchange';
import { viewedMeasureSchema } from '@longhold/core/pooled';
import { z } from 'zod';
import type { NoPoolReason, PoolOfMeasure } from './pool-of-measure';

const noPoolReasonSchema = z.enum([
  'left-out',
  'not-linked',
  'no-reply',
  'refused',
  'nothing-contributed',
  'restored',
  'computing',
  'too-few-changes',
  'not-in-definition',
  'withheld',
]) satisfies z.ZodType<NoPoolReason>;

const differenceSchema = z.strictObject({
  part: z
    .enum(['threshold', 'rule', 'reference', 'clock', 'film-factor', 'patients', 'error', 'level'])
    .describe('what differs'),
  name: z.string().describe('the same in words'),
  here: z.string().describe("as this report's question has it"),
  pool: z.string().describe('as the study definition has it'),
});

const pooledSchema = z.strictObject({
  role: roleSchema.describe('what this store is in the study'),
  ownCentre: z
    .string()
    .nullable()
    .describe("id of this clinic among the pool's centres; null for others than a centre"),
  numbers: z
    .array(
      z.strictObject({
        centre: z.string().describe('id of a centre'),
        number: z.number().describe('its number in the study'),
      }),
    )
    .describe('what the centres are called that may be told apart'),
  epoch: z.string().describe("names the service's store; release numbers count within it"),
  release: z.number().describe('number of the answer'),
  newer: z.boolean().describe('whether something was sent since that is not in it'),
  centres: z.number().describe('centres in it'),
  patients: z
    .strictObject({
      from: z.number().describe('at least so many'),
      to: z.number().nullable().describe('at most so many; null where not told'),
    })
    .describe('treated patients in it'),
  level: z.number().describe('confidence level of its intervals'),
  smallestCell: z.number().describe('no number of patients from 1 up to one below this is shown'),
  countStep: z
    .number()
    .describe(
      'numbers of patients of the pool are told to the nearest multiple of this; 1 for who sees the centres',
    ),
  definitionVersion: z.number().describe('version of the study definition it was made by'),
  definition: studyDefinitionSchema
    .nullable()
    .describe('that definition, as docs/pooling-protocol.md has it; null where it could not be read'),
  differences: z
    .array(differenceSchema)
    .nullable()
    .describe(
      "in what this report's question is another one; empty where they are the same; null where the definition could not be read",
    ),
  measure: viewedMeasureSchema.describe('what this store may see of the pool on the measure of the report'),
});

export const poolSchema = z.strictObject({
  absent: noPoolReasonSchema.nullable().describe('why there is no pooled answer; null where there is one'),
  answer: pooledSchema
    .nullable()
    .describe('the pooled answer as it was released to this store; null where there is none'),
});

/** The pooled answer in the form of results.json. */
export function poolFields(pool: PoolOfMeasure | NoPoolReason): z.infer<typeof poolSchema> {
  if (typeof pool === 'string') return { absent: pool, answer: null };
  const { differences, numbers, ...rest } = pool;
  return {
    absent: null,
    answer: { ...rest, numbers: [...numbers], differences: differences === null ? null : [...differences] },
  };
}
