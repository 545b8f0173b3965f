import { z } from 'zod';
import { groupTest } from '../survival';
import { asIntervalTimes, intervalTimeKeys } from './interval-censored-times';
import { defineMethod } from './method';

const label = z.union([z.string(), z.number()]);

/** The log-rank test for interval-censored times. */
export const intervalCensoredLogRank = defineMethod({
  name: 'interval-censored-log-rank',
  summary: 'Compares two or more groups whose times are known only to lie between two visits',
  source: 'Sun 1996; Finkelstein 1986; permutation form: Fay 1996, Fay 1999',
  input: z.strictObject({
    ...intervalTimeKeys,
    group: z.array(label).describe('Group of each patient'),
    stratum: z
      .array(label)
      .optional()
      .describe('Stratum of each patient; patients are compared within strata only'),
    form: z
      .enum(['sun', 'finkelstein'])
      .default('sun')
      .describe(
        'sun: the log-rank test where times are exact; finkelstein: score of grouped proportional hazards',
      ),
    trendScores: z
      .array(z.number())
      .optional()
      .describe(
        'A number for each group, in rising order of label, for the trend test; default 0, 1, 2, ...',
      ),
    permutations: z
      .int()
      .min(0)
      .max(1_000_000)
      .default(0)
      .describe('Random permutations of the labels for a p value that needs no large sample; 0: none'),
    seed: z
      .int()
      .min(0)
      .max(2 ** 31 - 1)
      .default(1)
      .describe('Seed of the permutations'),
  }),
  answer: {
    form: 'Which scores were used',
    groups:
      'In rising order of label: patients and the sum of their scores, positive where events came earlier than in all',
    covariance: 'Of those sums, over all permutations of the labels within strata',
    statistic: 'Chi-squared statistic',
    df: 'Its degrees of freedom, groups less one',
    p: 'Its p value, by the chi-squared distribution',
    trend:
      'Test against groups in order: z (positive where events come earlier with a higher number) and two-sided p',
    permutationP:
      'Share of permutations with at least the observed statistic, the observed one counted; null where not asked for',
    strata: 'Number of strata',
  },
  example: {
    about: 'Invented: years to loss between yearly visits, two groups of eight.',
    input: {
      left: [0, 1, 1, 2, 3, 4, 5, 5, 0, 0, 1, 1, 2, 2, 3, 5],
      right: [1, 2, 3, 3, null, 5, null, null, 1, 1, 2, 2, 3, 4, null, null],
      group: ['a', 'a', 'a', 'a', 'a', 'a', 'a', 'a', 'b', 'b', 'b', 'b', 'b', 'b', 'b', 'b'],
      permutations: 999,
    },
  },
  run: ({ group, stratum, form, trendScores, permutations, seed, ...times }) =>
    groupTest({ times: asIntervalTimes(times), group, stratum }, { form, trendScores, permutations, seed }),
});
