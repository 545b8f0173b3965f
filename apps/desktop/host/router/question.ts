import { outcomeQuestionSchema } from '@longhold/core/answers';
import { findMeasure } from '@longhold/core/measures';

/** An outcome question about a measure that the catalogue has. */
export const questionSchema = outcomeQuestionSchema.refine(
  ({ measure }) => findMeasure(measure) !== undefined,
  { path: ['measure'], message: 'a code of the catalogue of measures' },
);
