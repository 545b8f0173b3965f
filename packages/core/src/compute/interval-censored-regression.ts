import { z } from 'zod';
import { isRefusal } from '../numeric';
import { predictTimes, timeRegression } from '../survival';
import { asDesignTerms, designTerms } from './design-terms';
import { asIntervalTimes, intervalTimeKeys } from './interval-censored-times';
import { defineMethod } from './method';

/** Regression of times that may be exact or censored in any way. */
export const acceleratedFailureTime = defineMethod({
  name: 'accelerated-failure-time',
  summary:
    'Regression of exact, right-, left- or interval-censored times: exponential, Weibull, log-logistic, log-normal',
  source: 'Kalbfleisch and Prentice 2002, chapter 3; Burridge 1981; sandwich: Lin and Wei 1989',
  input: z.strictObject({
    ...intervalTimeKeys,
    distribution: z
      .enum(['exponential', 'weibull', 'log-logistic', 'log-normal'])
      .describe('Distribution of the times given the covariates'),
    terms: designTerms.default([]),
    cluster: z
      .array(z.union([z.string(), z.number()]))
      .optional()
      .describe('Label of the cluster of each entry; given: robust variance with clusters'),
    robust: z.boolean().optional().describe('Sandwich variance; default: only where clusters are given'),
    level: z.number().gt(0).lt(1).default(0.95).describe('Confidence level of all limits'),
    predict: z
      .strictObject({
        subjects: z
          .array(z.record(z.string(), z.union([z.string(), z.number()])))
          .describe('For each subject to predict, the number or label of every term'),
        times: z.array(z.number().positive()).default([]).describe('Times at which survival is predicted'),
        quantiles: z
          .array(z.number().gt(0).lt(1))
          .default([0.5])
          .describe('Shares with the event for which the time is predicted'),
      })
      .optional()
      .describe('Subjects whose curve is predicted; left out: none'),
  }),
  answer: {
    distribution: 'Of the times given the covariates',
    coefficients:
      'Of log time: estimate, limits, standard error, Wald z and p; timeRatio: by what a time is multiplied for one unit more; hazardRatio: the same for the hazard (exponential and Weibull only)',
    scale: 'Sigma, with limits; its log has logStandardError (null and sigma 1 for the exponential)',
    covariance: 'Of the coefficients and, last, log sigma',
    variance: 'model or robust',
    logLikelihood: 'Of the times themselves',
    nullLogLikelihood: 'Of the model without any term',
    likelihoodRatio: 'Test against the model without any term; null without terms or with robust variance',
    termTests: 'Wald test of all columns of each term',
    aic: "Akaike's criterion",
    parameters: 'Free parameters, the scale included',
    observations: 'Sum of the counts',
    exact: 'Of these, exact times',
    intervalCensored: 'Of these, interval-censored',
    leftCensored: 'Of these, left-censored',
    rightCensored: 'Of these, right-censored',
    iterations: 'Newton steps',
    level: 'Confidence level of all limits',
    predictions:
      'For each subject: survival at the times, and quantiles, with pointwise limits; empty where not asked for',
  },
  example: {
    about: 'Invented: years to loss between yearly visits, two groups of eight.',
    input: {
      left: [0, 1, 1, 2, 3, 4, 5, 5, 0, 0, 1, 1, 2, 2, 3, 5],
      right: [1, 2, 3, 3, null, 5, null, null, 1, 1, 2, 2, 3, 4, null, null],
      distribution: 'weibull',
      terms: [
        {
          name: 'group',
          labels: ['a', 'a', 'a', 'a', 'a', 'a', 'a', 'a', 'b', 'b', 'b', 'b', 'b', 'b', 'b', 'b'],
        },
      ],
      predict: { subjects: [{ group: 'a' }, { group: 'b' }], times: [2, 5] },
    },
  },
  run: (input) => {
    const { distribution, cluster, robust, level, predict } = input;
    const fit = timeRegression(
      { times: asIntervalTimes(input), distribution, terms: asDesignTerms(input.terms), cluster },
      { level, robust },
    );
    if (isRefusal(fit)) return fit;
    const predictions = [];
    for (const subject of predict?.subjects ?? []) {
      const prediction = predictTimes(fit, subject, predict?.times ?? [], predict?.quantiles ?? []);
      if (isRefusal(prediction)) return prediction;
      predictions.push(prediction);
    }
    const { design: _design, turned: _turned, ...shown } = fit;
    return { ...shown, predictions };
  },
});
