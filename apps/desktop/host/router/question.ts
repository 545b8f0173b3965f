import { outcomeQuestionSchema } from '@longhold/core/answers';
import { findMeasure } from '@longhold/core/measures';
import { z } from 'zod';

/** An outcome question about a measure that the catalogue has. */
export const questionSchema = outcomeQuestionSchema.refine(
  ({ measure }) => findMeasure(measure) !== undefined,
  { path: ['measure'], message: 'a code of the catalogue of measures' },
);

/** A job that was started for a question. */
export const jobSchema = z.strictObject({ job: z.string().max(100) });
