import { z } from 'zod';
import { isRefusal, refuse } from '../numeric';
import { logRankTest, logRankTrend, type LogRankWeighting } from '../survival';
import { defineMethod } from './method';
import { labelColumn, REMISSION, rightCensoredKeys } from './right-censored-input';

const power = z.number().nonnegative();

const inputSchema = z.strictObject({
  ...rightCensoredKeys,
  group: labelColumn.describe('Group of each row'),
  stratum: labelColumn
    .optional()
    .describe('Groups are compared within each stratum and the differences added up; left out: one stratum'),
  weighting: z
    .enum([
      'log-rank',
      'gehan-breslow',
      'tarone-ware',
      'peto-peto',
      'modified-peto-peto',
      'fleming-harrington',
    ])
    .default('log-rank')
    .describe('How much an event time counts; log-rank: all the same'),
  rho: power.optional().describe('Power of S(t-) with fleming-harrington; 0 when left out'),
  gamma: power.optional().describe('Power of 1 - S(t-) with fleming-harrington; 0 when left out'),
  scores: z
    .array(z.number())
    .optional()
    .describe('Score of each group in rising order of label, for the trend; left out: 1, 2, 3, ...'),
});

/** The log-rank test and its weighted relatives, with the test for a trend. */
export const logRankMethod = defineMethod({
  name: 'log-rank',
  summary:
    'Log-rank test of groups and its weighted relatives, stratified if wished, with a test for a trend',
  source:
    'Mantel 1966; Peto and Peto 1972; Tarone and Ware 1977; Fleming and Harrington 1981; Klein and Moeschberger 2003, chapter 7',
  input: inputSchema,
  answer: {
    weighting: 'Weighting in force; with fleming-harrington its two powers',
    groups: 'For each group, in rising order of label: rows, events, weighted events observed and expected',
    covariance: 'Covariance of observed less expected, a row for each group',
    chiSquared: 'Statistic of the test that all groups have the same hazard',
    degreesOfFreedom: 'One less than the groups, less where groups were never at risk together',
    p: 'P value of the test',
    trend:
      'Test for a trend along the scores: scores, z, chi-squared on one degree of freedom, p; null where all scores are equal for those compared',
  },
  example: {
    about: REMISSION.about,
    input: { time: REMISSION.time, event: REMISSION.event, group: REMISSION.group },
  },
  run: (input) => {
    const { weighting: name, rho = 0, gamma = 0, scores, ...columns } = input;
    if (name !== 'fleming-harrington' && (input.rho !== undefined || input.gamma !== undefined)) {
      return refuse(
        'wrong-weighting',
        `rho and gamma belong to fleming-harrington; the weighting is ${name}.`,
      );
    }
    const weighting: LogRankWeighting = name === 'fleming-harrington' ? { rho, gamma } : name;
    const test = logRankTest(columns, { weighting });
    if (isRefusal(test)) return test;
    const trend = logRankTrend(columns, { weighting, scores });
    if (isRefusal(trend) && trend.refused !== 'nothing-to-compare') return trend;
    const { weighting: _weighting, ...result } = test;
    return {
      weighting: typeof weighting === 'string' ? { name } : { name, rho, gamma },
      ...result,
      trend: isRefusal(trend)
        ? null
        : { scores: trend.scores, z: trend.z, chiSquared: trend.chiSquared, p: trend.p },
    };
  },
});
