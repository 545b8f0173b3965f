import { z } from 'zod';
import { isRefusal, refuse } from '../numeric';
import { grayTest } from '../survival';
import { competingKeys, labels, numberCauses, TREATED_TEETH } from './competing-events-input';
import { defineMethod } from './method';

/** Why one cause cannot be compared, while others can. */
const REASONS: Readonly<Record<string, string>> = {
  'no-events-of-cause': 'No row has an event of this cause.',
  'nothing-to-compare':
    'At no event of this cause were rows of different groups at risk together in a stratum with a row left over.',
  'negative-variance':
    'So many events of this cause are tied in so small groups that a variance is estimated below 0.',
};

/** Gray's test of every cause. */
export const grayTestMethod = defineMethod({
  name: 'gray-test',
  summary: "Gray's test that groups have the same cumulative incidence, for each competing event",
  source: 'Gray 1988',
  input: z.strictObject({
    ...competingKeys,
    group: labels.describe('Group of each row'),
    stratum: labels
      .optional()
      .describe(
        'Groups are compared within each stratum and the differences added up; left out: one stratum',
      ),
    rho: z
      .number()
      .nonnegative()
      .default(0)
      .describe('Power of 1 - F(t-) by which an event time counts, F the pooled incidence; 0: all the same'),
  }),
  answer: {
    tests:
      'For each cause its label and test: groups in rising order of label (rows, events, weighted events observed and expected), covariance of observed less expected, chiSquared, degreesOfFreedom (one less than the groups, less where groups were never at risk together) p, and pooledReachedOne (true: the groups differ utterly, and the size of the statistic means little). test is null where the groups cannot be compared for this cause, and reason says why',
    rho: 'Power in force',
  },
  example: {
    about: TREATED_TEETH.about,
    input: { time: TREATED_TEETH.time, cause: TREATED_TEETH.cause, group: TREATED_TEETH.group },
  },
  run: ({ causes: named, rho, ...columns }) => {
    const causes = numberCauses(columns.cause, named);
    if (isRefusal(causes)) return causes;
    if (causes.numbers.every((number) => number === 0)) {
      return refuse('no-events', 'cause is null or 0 everywhere, so there are no events to compare.');
    }
    const tests = [];
    for (const [j, label] of causes.labels.entries()) {
      const test = grayTest({ ...columns, cause: causes.numbers }, { cause: j + 1, rho });
      if (!isRefusal(test)) {
        const { cause: _number, rho: _rho, ...result } = test;
        tests.push({ cause: label, test: result, reason: null });
        continue;
      }
      const reason = REASONS[test.refused];
      if (reason === undefined) return test;
      tests.push({ cause: label, test: null, reason });
    }
    return { tests, rho };
  },
});
