import { diagnosisSchema, growthClockSchema } from '@longhold/core/answers';
import { patientCodeSchema } from '@longhold/core/records';
import { z } from 'zod';
import { rangeSchema, testedSchema } from './results-models';
import { groupGainSchema, leftOutReasonSchema, ratioFields, survivalAtYearSchema } from './results-parts';

const comparedFields = {
  patients: z.number().describe('patients with a gain of treatment'),
  retained: z
    .strictObject({ n: z.number().describe('patients'), ...ratioFields })
    .nullable()
    .describe('retained share at `retainedYear`'),
  survival: survivalAtYearSchema.nullable().describe('survival at `survivalYear`'),
  atYears: z.array(survivalAtYearSchema).describe('survival at the years 1, 2, 3 and 5'),
  lasting: testedSchema.nullable().describe('lasting gain by the growth clock'),
  share: z.strictObject(ratioFields).nullable().describe('its share of the gain'),
  diagnosis: diagnosisSchema.nullable().describe('the reading'),
  lastingRefused: z.string().nullable().describe('why there is no lasting gain'),
};

/** How sure an answer is, in results.json. Every field says what it is. */
export const sensitivitySchema = z.strictObject({
  retainedYear: z.number().nullable().describe('year whose retained share is compared'),
  survivalYear: z.number().nullable().describe('year whose survival is compared'),
  rows: z
    .array(
      z.strictObject({
        aspect: z
          .enum(['reference', 'clock', 'rule', 'error', 'threshold', 'protocol', 'absence'])
          .describe('what is done differently'),
        choice: z.string().describe('the choice'),
        inForce: z.boolean().describe('whether it is what the question asks'),
        ...comparedFields,
      }),
    )
    .describe('one thing changed at a time'),
  withoutOne: rangeSchema.nullable().describe('retained share with one patient left out'),
  influence: z
    .strictObject({
      lasting: rangeSchema.describe('of T'),
      share: rangeSchema.describe('of the lasting share'),
    })
    .nullable()
    .describe('lasting gain with one patient left out'),
  survivalWithoutOne: rangeSchema
    .nullable()
    .describe('survival at `survivalYear` with one patient left out; null for more than 400'),
});

const referenceResultsSchema = z.strictObject({
  gain: groupGainSchema.nullable().describe('gain of active treatment; null with fewer than two patients'),
  followed: z.number().describe('patients in the risk set'),
  dropsOut: z
    .array(
      z.strictObject({
        reason: leftOutReasonSchema.describe('reason'),
        codes: z.array(patientCodeSchema).describe('patients'),
      }),
    )
    .describe('in the risk set with the reference in force, not with this one'),
  comesIn: z.array(patientCodeSchema).describe('in the risk set with this reference only'),
  notCovered: z
    .array(patientCodeSchema)
    .describe('counted in the retained share with the reference in force, not covered by this one'),
  notPlaced: z.array(patientCodeSchema).describe('by stage: patients without a placed stage, read by age'),
  ...comparedFields,
});

/** The answer under every growth reference, in results.json; the years are those of `sensitivity`. */
export const referencesSchema = z.strictObject({
  needed: z.boolean().describe('false for a measure that does not grow'),
  rows: z
    .array(
      z.strictObject({
        kind: z.enum(['untreated-series', 'imported-table', 'built-in-table']).describe('kind of reference'),
        table: z.string().nullable().describe('name of the imported table'),
        clock: growthClockSchema.describe('clock by which growth is read'),
        name: z.string().describe('the reference as written'),
        label: z.string().describe('with its clock'),
        inForce: z.boolean().describe('whether the question is answered with it'),
        results: referenceResultsSchema.nullable().describe('what it makes of the answer'),
        why: z.string().nullable().describe('why it cannot be used'),
      }),
    )
    .describe('the reference in force first'),
});
