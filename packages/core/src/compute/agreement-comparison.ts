import { z } from 'zod';
import { differenceTrend, limitsOfAgreement } from '../agreement';
import { first, PEAK_FLOW, second, share } from './agreement-input';
import { level } from './interval-input';
import { defineMethod } from './method';

export const limitsOfAgreementMethod = defineMethod({
  name: 'limits-of-agreement',
  summary: "Bland and Altman's limits of agreement of two methods, with exact and approximate intervals",
  source: 'Bland and Altman 1986, 1999; Carkeet 2015',
  input: z.strictObject({ first, second, share, level }),
  answer: {
    pairs: 'Number of pairs, one a subject',
    share: 'Share of differences between the limits',
    level: 'Confidence level of the intervals',
    bias: 'Mean difference, second minus first',
    biasLimits: 't limits of the bias',
    biasP: 'Two-sided p of the paired t test of no bias',
    sd: 'SD of the differences',
    sdLimits: 'Chi-squared limits of it',
    lower: 'Lower limit of agreement: estimate, exact interval (noncentral t), approximate interval',
    upper: 'Upper limit of agreement, the same',
  },
  example: { about: PEAK_FLOW.about, input: { first: PEAK_FLOW.mini, second: PEAK_FLOW.large } },
  run: ({ first: one, second: other, ...options }) =>
    limitsOfAgreement({ first: one, second: other }, options),
});

export const differenceTrendMethod = defineMethod({
  name: 'difference-trend',
  summary: 'Whether the difference of two methods depends on the size measured',
  source: 'Bland and Altman 1999; Pitman 1939; Bradley and Blackwood 1989',
  input: z.strictObject({ first, second, level }),
  answer: {
    pairs: 'Number of pairs',
    level: 'Confidence level',
    difference:
      'Line of the difference (second minus first) on the mean of the two: intercept, slope with error, limits and p; the p is also that of equal variances (Pitman)',
    residualSd: 'SD of differences about the line',
    proportionalFactor:
      'Second method per unit of the first that the slope amounts to; null where not defined',
    spread: 'Line of the size of the residual on the mean: whether differences spread more at larger sizes',
    equalityF:
      'F of no bias and equal variances together, on 2 and n - 2; null where all points lie on the line',
    equalityP: 'Its p',
  },
  example: { about: PEAK_FLOW.about, input: { first: PEAK_FLOW.mini, second: PEAK_FLOW.large } },
  run: ({ level: confidence, ...pairs }) => differenceTrend(pairs, { level: confidence }),
});
