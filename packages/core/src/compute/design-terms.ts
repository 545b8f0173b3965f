import { z } from 'zod';
import type { DesignTerm } from '../numeric';

const name = z.string().min(1).describe('Name of the covariate, as it shall stand in the answer');

/** Covariates and factors of a regression as they come in JSON. */
export const designTerms = z
  .array(
    z.union([
      z.strictObject({
        name,
        numbers: z
          .array(z.number())
          .describe('A numeric covariate, one number for each row, in its own unit'),
      }),
      z.strictObject({
        name,
        labels: z
          .array(z.union([z.string(), z.number()]))
          .describe('A factor, one label for each row; each label but the first is compared with the first'),
        levels: z
          .array(z.union([z.string(), z.number()]))
          .optional()
          .describe('All labels, the reference first. Default: those that occur, in rising order'),
      }),
    ]),
  )
  .describe('Covariates and factors, each with one value for each row');

/** The same as terms of a design matrix. */
export function asDesignTerms(terms: z.output<typeof designTerms>): DesignTerm[] {
  return terms.map((term) =>
    'numbers' in term
      ? { kind: 'numeric', name: term.name, values: term.numbers }
      : {
          kind: 'factor',
          name: term.name,
          values: term.labels,
          ...(term.levels === undefined ? {} : { levels: term.levels }),
        },
  );
}
