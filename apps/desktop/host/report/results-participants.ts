import { z } from 'zod';

const groupingSchema = z.enum(['protocol', 'expansion', 'sex', 'maturity']);

/** Who the treated patients are, in results.json. Every field says what it is. */
export const participantsSchema = z.strictObject({
  patients: z.number().describe('treated patients asked about who consent to follow-up'),
  counts: z
    .array(
      z.strictObject({
        characteristic: groupingSchema.describe('by what they are counted'),
        groups: z
          .array(
            z.strictObject({
              label: z.string().describe('kind'),
              patients: z.number().describe('patients of it'),
            }),
          )
          .describe('the kinds that occur'),
        notRecorded: z.number().describe('patients of whom it is not recorded'),
      }),
    )
    .describe('how many are of each kind'),
  quartiles: z
    .array(
      z.strictObject({
        quantity: z
          .enum(['age-at-end', 'gain', 'followed'])
          .describe(
            '`age-at-end`: age at the end of active treatment, years; `gain`: gain of treatment; `followed`: years from that end to the latest follow-up visit, 0 for never seen',
          ),
        patients: z.number().describe('patients of whom it is known'),
        notKnown: z.number().describe('patients of whom it is not'),
        median: z.number().describe('median'),
        lowerQuartile: z.number().describe('lower quartile (type 7)'),
        upperQuartile: z.number().describe('upper quartile (type 7)'),
        smallest: z.number().describe('smallest value'),
        largest: z.number().describe('largest value'),
      }),
    )
    .describe('medians and quartiles'),
  neverSeen: z.number().describe('patients never seen after active treatment'),
  dividingGain: z
    .number()
    .nullable()
    .describe('median gain of those in the risk set, which divides smaller from larger gains'),
});
