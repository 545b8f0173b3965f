import { z } from 'zod';
import {
  commonEffect,
  equalWeightsMean,
  leaveOneOut,
  metaRegression,
  randomEffects,
  subgroupMeans,
} from '../pooling';
import { asDesignTerms, designTerms } from './design-terms';
import { isRefusal } from '../numeric';
import { defineMethod, type ComputeMethod } from './method';

const estimates = z.array(z.number()).describe('The estimate of each study, all in the same unit');

const studies = {
  estimate: estimates,
  variance: z
    .array(z.number())
    .describe("The square of each estimate's standard error, in the square of that unit; above 0"),
};

const level = {
  level: z.number().gt(0).lt(1).default(0.95).describe('Confidence level of all intervals'),
};

const choices = {
  ...level,
  estimator: z
    .enum([
      'restricted-maximum-likelihood',
      'maximum-likelihood',
      'paule-mandel',
      'dersimonian-laird',
      'hedges',
    ])
    .default('restricted-maximum-likelihood')
    .describe('How tau^2 is estimated'),
  interval: z
    .enum(['hartung-knapp-floored', 'hartung-knapp', 'wald'])
    .default('hartung-knapp-floored')
    .describe(
      'hartung-knapp-floored: t interval from the weighted scatter of the studies, its standard error never below that of wald; hartung-knapp: without that floor; wald: normal interval that takes tau^2 as known',
    ),
};

const predictionDegrees = {
  predictionDegrees: z
    .enum(['studies-minus-two', 'studies-minus-one'])
    .default('studies-minus-two')
    .describe('Degrees of freedom of the prediction interval'),
};

/** Log risk ratios of the BCG trials to four decimals. */
const BCG = {
  about:
    'Thirteen trials of BCG vaccine against tuberculosis: log risk ratios and their variances to four decimals (Colditz and others 1994; counts as in Berkey and others 1995).',
  estimate: [
    -0.8893, -1.5854, -1.3481, -1.4416, -0.2175, -0.7861, -1.6209, 0.012, -0.4694, -1.3713, -0.3394, 0.4459,
    -0.0173,
  ],
  variance: [
    0.3256, 0.1946, 0.4154, 0.02, 0.0512, 0.0069, 0.223, 0.004, 0.0564, 0.073, 0.0124, 0.5325, 0.0714,
  ],
  latitude: [44, 55, 42, 52, 13, 44, 19, 13, 27, 42, 18, 33, 33],
};

const bcgStudies = { estimate: BCG.estimate, variance: BCG.variance };

/** Invented. */
const CLINICS = {
  about: 'Invented: mean gain kept at two years in five clinics, mm, and the squares of its standard errors.',
  estimate: [2.9, 1.4, 3.6, 2.2, 2.7],
  variance: [0.12, 0.3, 0.45, 0.08, 0.22],
};

const MEAN = {
  studies: 'Number of studies',
  level: 'Confidence level of all intervals',
  estimate: 'The pooled mean, in the unit of the estimates',
  standardError: 'Its standard error; with a t interval the variance factor is in it',
  interval: 'Its confidence limits, lower and upper',
  statistic: 'Estimate over standard error; null where the standard error is 0',
  p: 'Two-sided p that the mean is 0, from t or normal as the interval; null where the standard error is 0',
};

const WARNINGS =
  'What must be read beside the numbers: one-degree-of-freedom, floor-applied, shorter-than-wald, too-alike (closer together than the variances allow), no-scatter, carried-by-few (trust equalWeights), several-modes (of the likelihood of tau^2)';

const ERRORS =
  'How standard errors were made: method, varianceFactor (weighted scatter over its expectation, never floored), factorInUse, and degreesOfFreedom of t, null for the normal';

const BETWEEN =
  'tau^2, its estimator, and for the likelihoods the log-likelihood with all constants and the number of its maxima';

const HETEROGENEITY =
  'Q with degrees of freedom and p; tau^2 with its Q-profile interval (tooAlike: no tau^2 fits); I^2 as a share from 0 to 1 and H^2, from tau^2 with intervals, and from Q alone';

const commonEffectMethod = defineMethod({
  name: 'common-effect',
  summary: 'One mean for studies that estimate the very same thing (fixed effect)',
  source: 'Cochran 1954; Borenstein, Hedges, Higgins and Rothstein 2009, chapter 11',
  input: z.strictObject({ ...studies, ...level }),
  answer: {
    ...MEAN,
    q: "Cochran's Q, which tests whether one mean fits all; 0 for a single study",
    qDegreesOfFreedom: 'Studies less one',
    qP: 'Upper tail of chi-squared at Q; null for a single study',
    weights: 'Share of each study in the mean',
  },
  example: { about: BCG.about, input: bcgStudies },
  run: ({ estimate, variance, ...options }) => commonEffect({ estimate, variance }, options),
});

const randomEffectsMethod = defineMethod({
  name: 'random-effects',
  summary: 'Mean of studies whose true means differ; heterogeneity; prediction for a further study',
  source:
    'DerSimonian and Laird 1986; Hartung and Knapp 2001; Viechtbauer 2005, 2007; Higgins and others 2009; Röver and others 2015',
  input: z.strictObject({ ...studies, ...choices, ...predictionDegrees }),
  answer: {
    ...MEAN,
    errors: ERRORS,
    between: BETWEEN,
    heterogeneity: HETEROGENEITY,
    prediction:
      'Limits for the true mean of a further study, and the degrees of freedom of t; null where none is left',
    weights: 'Share of each study in the mean',
    equalWeights:
      "The plain mean of the estimates with Student's interval, which needs neither variances nor tau^2; guaranteed (level 0.95 and above) tells that it covers at least as often as it claims, whatever the variances",
    warnings: WARNINGS,
  },
  example: { about: BCG.about, input: bcgStudies },
  run: ({ estimate, variance, ...options }) => randomEffects({ estimate, variance }, options),
});

const equalWeightsMethod = defineMethod({
  name: 'equal-weights-mean',
  summary: 'Plain mean of studies, with an interval that no variances can spoil',
  source: 'Bakirov and Székely 2006; Ibragimov and Müller 2010',
  input: z.strictObject({ estimate: estimates, ...level }),
  answer: {
    ...MEAN,
    degreesOfFreedom: 'Studies less one',
    guaranteed:
      'True from a level of 0.95 on: the interval covers at least as often as it claims, whatever the variances',
  },
  example: { about: CLINICS.about, input: { estimate: CLINICS.estimate } },
  run: ({ estimate, ...options }) => equalWeightsMean(estimate, options),
});

const leaveOneOutMethod = defineMethod({
  name: 'leave-one-out',
  summary: 'The random-effects mean without each study in turn',
  source: 'Viechtbauer and Cheung 2010',
  input: z.strictObject({ ...studies, ...choices }),
  answer: {
    without:
      'One entry for each study, in the order given: position omitted (from 0), then estimate, standardError, interval, statistic, p, tauSquared, iSquared (share, 0 to 1), Q and its p, each from the other studies alone',
  },
  example: { about: CLINICS.about, input: { estimate: CLINICS.estimate, variance: CLINICS.variance } },
  run: ({ estimate, variance, ...options }) => {
    const without = leaveOneOut({ estimate, variance }, options);
    return isRefusal(without) ? without : { without };
  },
});

const subgroupMethod = defineMethod({
  name: 'subgroup-means',
  summary: 'Random-effects means of groups of studies, and the test between groups',
  source: 'Borenstein, Hedges, Higgins and Rothstein 2009, chapter 19; Knapp and Hartung 2003',
  input: z.strictObject({
    ...studies,
    group: z.array(z.union([z.string(), z.number()])).describe('The group of each study, a text or a number'),
    tauSquared: z
      .enum(['common', 'separate'])
      .default('common')
      .describe('One tau^2 within all groups, or one for each, which needs five or more studies in each'),
    ...choices,
  }),
  answer: {
    level: 'Confidence level of all intervals',
    groups:
      'For each group, in the order of first occurrence: its label, number of studies, mean with interval, how standard errors were made, tau^2, and Q within the group with its p (null for a single study)',
    tauSquared: 'Whether tau^2 is common to all groups or separate',
    betweenGroups:
      'The test that all groups have the same mean: F with a common tau^2 and a t interval, else chi-squared; statistic and p are null where there is no scatter',
  },
  example: {
    about: 'Invented: eight clinics, four in towns and four in the country, gain kept at two years in mm.',
    input: {
      estimate: [2.9, 1.4, 3.6, 2.2, 1.9, 1.1, 2.4, 0.8],
      variance: [0.12, 0.3, 0.45, 0.08, 0.22, 0.15, 0.4, 0.2],
      group: ['town', 'town', 'town', 'town', 'country', 'country', 'country', 'country'],
    },
  },
  run: ({ estimate, variance, group, ...options }) => subgroupMeans({ estimate, variance, group }, options),
});

const metaRegressionMethod = defineMethod({
  name: 'meta-regression',
  summary: 'How the means of studies depend on covariates, and what these leave unexplained',
  source:
    'Berkey, Hoaglin, Mosteller and Colditz 1995; Knapp and Hartung 2003; Raudenbush 2009; Jackson and others 2014',
  input: z.strictObject({ ...studies, terms: designTerms, ...choices }),
  answer: {
    studies: 'Number of studies',
    level: 'Confidence level of all intervals',
    coefficients:
      'Intercept and coefficients by name, each with standard error, interval, statistic and two-sided p; unit of the estimates for one unit of the covariate',
    omnibus: 'The test that all coefficients but the intercept are 0: F, or chi-squared with wald',
    errors: ERRORS,
    between: `What the covariates leave of it: ${BETWEEN}`,
    residualHeterogeneity: `What the covariates leave: ${HETEROGENEITY}`,
    tauSquaredWithout: 'tau^2 without covariates, by the same estimator',
    rSquared:
      'Share, 0 to 1, of tau^2 that the covariates take away, not below 0; null where there was none without them',
    weights: 'Share of each study',
    warnings: WARNINGS.replace(' (trust equalWeights)', ''),
  },
  example: {
    about: `${BCG.about} By degrees of latitude.`,
    input: { ...bcgStudies, terms: [{ name: 'latitude', numbers: BCG.latitude }] },
  },
  run: ({ estimate, variance, terms, ...options }) =>
    metaRegression({ estimate, variance, terms: asDesignTerms(terms) }, options),
});

/** Pooling of studies, as it is called from outside. */
export const POOLING_METHODS: readonly ComputeMethod[] = [
  commonEffectMethod,
  randomEffectsMethod,
  equalWeightsMethod,
  leaveOneOutMethod,
  subgroupMethod,
  metaRegressionMethod,
];
