import { z } from 'zod';
import { constantTruthAgreement, varyingTruthAgreement } from '../agreement';
import { first, second, share, subject } from './agreement-input';
import { level } from './interval-input';
import { defineMethod } from './method';

const answer = {
  subjects: 'Number of subjects',
  readings: 'Pairs, or readings of both methods where they are not paired',
  share: 'Share of differences between the limits',
  level: 'Confidence level of the intervals',
  bias: 'Mean difference, second minus first',
  biasLimits: 't limits of the bias, subjects - 1 degrees of freedom',
  sd: 'SD of the difference between one reading by each method',
  sdLimits: 'Limits of it by recovery of variances',
  betweenVariance: 'Variance of the differences over subjects, squared unit; may be below 0',
  withinVariances: 'Variance within subjects: of the difference, or of a reading by each method',
  lower: 'Lower limit of agreement: estimate and its interval',
  upper: 'Upper limit of agreement: estimate and its interval',
};

/** Bland and Altman 2007: the first three of twelve subjects. */
const CARDIAC = {
  about:
    'Cardiac ejection of the first three of twelve subjects by impedance cardiography (first) and radionuclide ventriculography (second), Bland and Altman 2007.',
  subject: [1, 1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3, 3, 3],
  impedance: [6.57, 5.62, 6.9, 6.57, 6.35, 4.06, 4.29, 4.26, 4.09, 4.71, 5.5, 5.08, 5.02, 6.01, 5.67],
  ventriculography: [
    7.83, 7.42, 7.89, 7.12, 7.88, 6.16, 7.26, 6.71, 6.54, 4.75, 5.24, 4.86, 4.78, 6.05, 5.42,
  ],
};

export const varyingTruthMethod = defineMethod({
  name: 'limits-of-agreement-varying-truth',
  summary:
    'Limits of agreement from several pairs of readings a subject, the true value changing between pairs',
  source: 'Bland and Altman 2007; Zou 2013',
  input: z.strictObject({
    subject,
    first,
    second,
    weighing: z
      .enum(['pairs', 'subjects'])
      .default('pairs')
      .describe('pairs: every pair counts once (Bland and Altman 2007); subjects: every subject (Zou 2013)'),
    share,
    level,
  }),
  answer,
  example: {
    about: CARDIAC.about,
    input: { subject: CARDIAC.subject, first: CARDIAC.impedance, second: CARDIAC.ventriculography },
  },
  run: ({ subject: whose, first: one, second: other, ...options }) =>
    varyingTruthAgreement({ subject: whose, first: one, second: other }, options),
});

export const constantTruthMethod = defineMethod({
  name: 'limits-of-agreement-constant-truth',
  summary: 'Limits of agreement from several readings a subject and method, the true value staying the same',
  source: 'Bland and Altman 1999, 2007; Zou 2013',
  input: z.strictObject({
    subject,
    method: z.array(z.enum(['first', 'second'])).describe('Which method took the reading of each row'),
    value: z.array(z.number()).describe('The reading of each row, in the unit of the measure'),
    share,
    level,
  }),
  answer,
  example: {
    about: CARDIAC.about,
    input: {
      subject: [...CARDIAC.subject, ...CARDIAC.subject],
      method: [
        ...CARDIAC.impedance.map(() => 'first' as const),
        ...CARDIAC.ventriculography.map(() => 'second' as const),
      ],
      value: [...CARDIAC.impedance, ...CARDIAC.ventriculography],
    },
  },
  run: ({ subject: whose, method, value, ...options }) =>
    constantTruthAgreement({ subject: whose, method, value }, options),
});
