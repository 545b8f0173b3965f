import { z } from 'zod';
import { isRefusal } from '../numeric';
import { quantilePlace, restrictedMeanBounds, turnbullBootstrap } from '../survival';
import { asIntervalTimes, intervalTimeKeys, RADIOTHERAPY } from './interval-censored-times';
import { defineMethod } from './method';

/** Turnbull's curve with what can be read off it. */
export const turnbullMethod = defineMethod({
  name: 'turnbull',
  summary: 'Survival curve from times known only to lie between two visits, with bootstrap intervals',
  source:
    'Turnbull 1976; Wellner and Zhan 1997; Groeneboom, Jongbloed and Wellner 2008; intervals: Korn and Graubard 1998',
  input: z.strictObject({
    ...intervalTimeKeys,
    at: z.array(z.number().nonnegative()).default([]).describe('Times at which the curve is read'),
    quantiles: z
      .array(z.number().gt(0).lt(1))
      .default([0.5])
      .describe('Shares of patients with the event for which the time is asked; 0.5 is the median'),
    restrictedTo: z
      .number()
      .positive()
      .optional()
      .describe('Time up to which the mean time free of the event is computed; left out: none'),
    level: z.number().gt(0).lt(1).default(0.95).describe('Confidence level of the limits'),
    resamples: z.int().min(50).max(20_000).default(1000).describe('Bootstrap resamples for the limits'),
    seed: z
      .int()
      .min(0)
      .max(2 ** 31 - 1)
      .default(1)
      .describe('Seed of the resampling'),
  }),
  answer: {
    intervals:
      'Innermost intervals (left, right] that carry mass, with their mass; right is null where open. The curve drops inside them and nowhere else, and how it drops inside is not known',
    values:
      'For each time of `at`: survival, the values at both ends of an interval around the time (undefinedWithin), number at risk, bootstrap standard error, exact binomial limits of the informative number of patients (exact; recommended) and percentile limits (too narrow near 1)',
    quantiles:
      'For each share asked for: the quantile lies after `after` and not later than `by` (null: nothing bounds it)',
    restrictedMean:
      'Mean time free of the event up to restrictedTo, with bounds over all places of mass inside the intervals; null where not asked for',
    observations: 'Patients',
    logLikelihood: 'At the maximum',
    optimalityGap:
      'Largest excess in the Karush-Kuhn-Tucker conditions: per patient the log-likelihood lies at most this below its maximum',
    converged: 'Whether that gap is below 1e-9',
    iterations: 'Rounds taken',
    level: 'Confidence level of the limits',
    resamples: 'Bootstrap resamples behind the limits',
    seed: 'Their seed',
  },
  example: {
    about: RADIOTHERAPY.about,
    input: {
      left: RADIOTHERAPY.left,
      right: RADIOTHERAPY.right,
      at: [12, 24, 36],
      restrictedTo: 48,
      resamples: 200,
    },
  },
  run: (input) => {
    const { level, resamples, seed } = input;
    const result = turnbullBootstrap(asIntervalTimes(input), input.at, { level, resamples, seed });
    if (isRefusal(result)) return result;
    const { fit, values } = result;
    return {
      intervals: fit.intervals
        .filter(({ mass }) => mass > 0)
        .map(({ left, right, mass }) => ({ left, right: right === Infinity ? null : right, mass })),
      values,
      quantiles: input.quantiles.map((probability) => ({ probability, ...quantilePlace(fit, probability) })),
      restrictedMean: input.restrictedTo === undefined ? null : restrictedMeanBounds(fit, input.restrictedTo),
      observations: fit.observations,
      logLikelihood: fit.logLikelihood,
      optimalityGap: fit.optimalityGap,
      converged: fit.converged,
      iterations: fit.iterations,
      level,
      resamples,
      seed,
    };
  },
});
