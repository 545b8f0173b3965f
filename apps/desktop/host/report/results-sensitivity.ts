import { diagnosisSchema } from '@longhold/core/answers';
import { z } from 'zod';
import { rangeSchema, testedSchema } from './results-models';
import { ratioFields, survivalAtYearSchema } from './results-parts';

/** How sure an answer is, in results.json. Every field says what it is. */
export const sensitivitySchema = z.strictObject({
  retainedYear: z.number().nullable().describe('year whose retained share is compared'),
  survivalYear: z.number().nullable().describe('year whose survival is compared'),
  rows: z
    .array(
      z.strictObject({
        aspect: z
          .enum(['reference', 'clock', 'rule', 'error', 'threshold', 'protocol'])
          .describe('what is done differently'),
        choice: z.string().describe('the choice'),
        inForce: z.boolean().describe('whether it is what the question asks'),
        patients: z.number().describe('patients with a gain of treatment'),
        retained: z
          .strictObject({ n: z.number().describe('patients'), ...ratioFields })
          .nullable()
          .describe('retained share at `retainedYear`'),
        survival: survivalAtYearSchema.nullable().describe('survival at `survivalYear`, exact limits'),
        lasting: testedSchema.nullable().describe('lasting gain by the growth clock'),
        share: z.strictObject(ratioFields).nullable().describe('its share of the gain'),
        diagnosis: diagnosisSchema.nullable().describe('the reading'),
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
});
