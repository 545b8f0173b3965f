import { z } from 'zod';
import type { CentreEstimates } from './centre-estimates';
import { countSchema } from './centre-statistics';
import { intervalSchema, refusalSchema } from './view-schema';

const resultSchema = z.strictObject({
  patients: countSchema,
  result: z.union([
    z.strictObject({
      patients: countSchema,
      estimate: z.number(),
      interval: intervalSchema,
      value: z.number(),
      variance: z.number(),
      commonSd: z.number(),
    }),
    refusalSchema,
  ]),
});
const resultAtYearSchema = resultSchema.extend({ year: z.int().min(1).max(20) });

/** A centre's estimates as they are kept beside its statistics: one entry for each measure of the definition. */
export const centreEstimatesSchema = z.array(
  z.strictObject({
    measure: z.string().max(60),
    retention: z.array(resultAtYearSchema),
    survival: z.array(resultAtYearSchema),
    lasting: resultSchema,
    forward: resultSchema,
    lastingShare: resultSchema,
  }),
) satisfies z.ZodType<CentreEstimates[]>;
