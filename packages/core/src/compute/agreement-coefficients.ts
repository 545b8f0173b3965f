import { z } from 'zod';
import {
  bootstrapKappa,
  crossTable,
  intraclassCorrelations,
  weightedKappa,
  type KappaBootstrap,
  type WeightedKappa,
} from '../agreement';
import { isRefusal, refuse, type Refusal } from '../numeric';
import { label, level, replicates, seed } from './interval-input';
import { defineMethod } from './method';

export const intraclassMethod = defineMethod({
  name: 'intraclass-correlation',
  summary: 'The six intraclass correlations of Shrout and Fleiss with F tests and intervals',
  source: 'Shrout and Fleiss 1979; McGraw and Wong 1996; de Vet and others 2006',
  input: z.strictObject({
    ratings: z
      .array(z.array(z.number()).describe('Ratings of one subject, one for each rater'))
      .describe('One row a subject, one column a rater, nothing missing'),
    level,
  }),
  answer: {
    subjects: 'Number of subjects n',
    raters: 'Number of raters k',
    level: 'Confidence level',
    meanSquares: 'Mean squares of subjects, raters, error, and within subjects; squared unit',
    components: 'Variances of subjects, raters and error by the method of moments; may be below 0',
    coefficients:
      'ICC(1,1), (2,1), (3,1), (1,k), (2,k), (3,k): estimate, limits, one-sided F test of no correlation',
    standardErrorAgreement: 'SD of one rating by a rater drawn at random, unit of the ratings',
    standardErrorConsistency: "SD of one rating, raters' own levels not counted",
  },
  example: {
    about: 'Six targets rated by four judges (Shrout and Fleiss 1979, from memory).',
    input: {
      ratings: [
        [9, 2, 5, 8],
        [6, 1, 3, 2],
        [8, 4, 6, 8],
        [7, 1, 2, 6],
        [10, 5, 6, 9],
        [6, 2, 4, 7],
      ],
    },
  },
  run: ({ ratings, level: confidence }) => intraclassCorrelations(ratings, { level: confidence }),
});

const counts = z.array(z.array(z.int().min(0)));

type KappaAnswer = WeightedKappa & { readonly bootstrap: KappaBootstrap | null };

export const weightedKappaMethod = defineMethod({
  name: 'weighted-kappa',
  summary: 'Agreement of two raters on ordered categories beyond chance',
  source: 'Cohen 1960, 1968; Fleiss, Cohen and Everitt 1969',
  input: z.strictObject({
    categories: z.array(label).min(2).describe('All categories that could be given, in their order'),
    first: z.array(label).optional().describe('Category given by the first rater to each subject'),
    second: z.array(label).optional().describe('Category given by the second rater to each subject'),
    table: counts
      .optional()
      .describe('In place of first and second: counts, row = first rater, column = second'),
    weights: z
      .union([z.enum(['unweighted', 'linear', 'quadratic']), z.array(z.array(z.number().min(0).max(1)))])
      .default('unweighted')
      .describe('How much a pair agrees; or a table of weights, 1 on the diagonal'),
    level,
    bootstrap: z
      .strictObject({ replicates, seed })
      .nullable()
      .default(null)
      .describe('Bootstrap limits beside the large-sample ones; null for none'),
  }),
  answer: {
    subjects: 'Number of subjects',
    categories: 'Number of categories',
    level: 'Confidence level',
    kappa: '1 is full agreement, 0 that of chance',
    standardError: 'Large-sample error, not assuming 0: for intervals',
    nullStandardError: 'Large-sample error under no agreement: for the test',
    z: 'kappa / nullStandardError; null where that error is 0',
    p: 'Two-sided p of no agreement beyond chance',
    limits: 'kappa -+ z standardError; null where the error is 0',
    logLimits: 'Limits on the log of the disagreement left, never above 1; null with limits',
    observedAgreement: 'Weighted agreement observed',
    expectedAgreement: 'Weighted agreement expected by chance',
    sameCategory: 'Share of pairs in the same category, exact binomial limits',
    withinOne: 'Share of pairs in the same or a neighbouring category, exact binomial limits',
    bootstrap: 'Percentile and BCa limits, subjects drawn; null where not asked for',
  },
  example: {
    about: 'Invented stages CS1 to CS6 of 14 films by two raters.',
    input: {
      categories: ['CS1', 'CS2', 'CS3', 'CS4', 'CS5', 'CS6'],
      first: 'CS1 CS2 CS2 CS3 CS3 CS3 CS4 CS4 CS4 CS5 CS5 CS6 CS6 CS2'.split(' '),
      second: 'CS1 CS2 CS3 CS3 CS3 CS2 CS4 CS4 CS5 CS5 CS4 CS6 CS6 CS2'.split(' '),
      weights: 'linear',
    },
  },
  run(input): KappaAnswer | Refusal {
    const table = countsOf(input);
    if (isRefusal(table)) return table;
    const { weights, level: confidence, bootstrap } = input;
    const kappa = weightedKappa(table, { weights, level: confidence });
    if (isRefusal(kappa)) return kappa;
    if (bootstrap === null) return { ...kappa, bootstrap };
    const drawn = bootstrapKappa(table, { weights, level: confidence, ...bootstrap });
    return isRefusal(drawn) ? drawn : { ...kappa, bootstrap: drawn };
  },
});

function countsOf(input: {
  readonly categories: readonly (string | number)[];
  readonly first?: readonly (string | number)[] | undefined;
  readonly second?: readonly (string | number)[] | undefined;
  readonly table?: readonly (readonly number[])[] | undefined;
}): readonly (readonly number[])[] | Refusal {
  const { categories, first, second, table } = input;
  if (table !== undefined && first === undefined && second === undefined) {
    if (table.length === categories.length) return table;
    return refuse('wrong-length', `table has ${table.length} rows where ${categories.length} are needed.`);
  }
  if (table === undefined && first !== undefined && second !== undefined) {
    return crossTable(first, second, categories);
  }
  return refuse('wrong-input', 'Give either first and second, or table.');
}
