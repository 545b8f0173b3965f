import { z } from 'zod';
import { isRefusal } from '../numeric';
import {
  baselineHazard,
  concordance,
  coxResiduals,
  predictedSurvival,
  predictedSurvivalAt,
  profileLimits,
  proportionalHazardsTest,
  schoenfeldResiduals,
  type CoxFit,
} from '../survival';
import { ABOUT_OVARIAN, coxInput, fitted, OVARIAN, withFit } from './cox-input';
import { defineMethod, type ComputeMethod } from './method';
import { REMISSION } from './right-censored-input';

const FREIREICH = {
  time: REMISSION.time,
  event: REMISSION.event,
  covariates: [
    {
      name: 'arm',
      labels: REMISSION.group,
      levels: ['6-MP', 'placebo'],
    },
  ],
};

/** The fit without what only further functions need. */
function plainFit(fit: CoxFit): Omit<CoxFit, 'model'> {
  const { model, ...rest } = fit;
  return { ...rest, rows: model.sorted.rows };
}

const coxRegression = defineMethod({
  name: 'cox-regression',
  summary: "Cox's proportional hazards regression: hazard ratios, tests, concordance",
  source: 'Cox 1972; Efron 1977; Lin and Wei 1989; Therneau and Grambsch 2000',
  input: z.strictObject({
    ...coxInput,
    profile: z
      .boolean()
      .optional()
      .describe(
        'Also profile-likelihood limits, better than Wald limits where events are few; default false',
      ),
  }),
  answer: {
    rows: 'Number of rows',
    events: 'Number of rows with an event',
    ties: 'How tied events were dealt with',
    level: 'Confidence level of the intervals',
    coefficients:
      'For each column: log hazard ratio for one unit more or for the level against the reference, standard errors, z, two-sided p value, Wald limits, hazard ratio; `infinite` is plus or minus where the likelihood is monotone, and the numbers are then null',
    covariance: 'Covariance of the coefficients, row by row; null where one is infinite',
    modelCovariance: 'The same from the information alone, also where the fit is robust',
    robust: 'Whether standard errors and covariance are those of the sandwich',
    clusters: 'Number of clusters of the sandwich; null without it',
    logLikelihood: 'Log partial likelihood at the estimates',
    nullLogLikelihood: 'Log partial likelihood with all coefficients zero',
    likelihoodRatioTest: 'Test that all coefficients are zero; not valid with clusters or sampling weights',
    waldTest:
      'The same by the estimates and their covariance; null where one is infinite or the covariance singular',
    scoreTest: 'The same by the first derivatives at zero; the log-rank test for one factor without ties',
    robustScoreTest: 'The same with the sandwich; null without it',
    iterations: 'Newton steps taken',
    warning: 'What to beware of and what would help: an infinite coefficient, few clusters; else null',
    concordance:
      'Share of comparable pairs that the model ranks rightly, its standard error and the pairs; null where no pair can be compared',
    profile: 'Profile-likelihood limits of each coefficient; null unless asked for',
  },
  example: {
    about:
      'Weeks of remission in acute leukaemia, 6-mercaptopurine against placebo. Freireich EJ and others. Blood 1963;21:699-716.',
    input: { ...FREIREICH, profile: true },
  },
  run(input) {
    const fit = fitted(input);
    if (isRefusal(fit)) return fit;
    const agreement = concordance(fit);
    const profile = input.profile === true ? profileLimits(fit) : null;
    if (isRefusal(profile)) return profile;
    return { ...plainFit(fit), concordance: isRefusal(agreement) ? null : agreement, profile };
  },
});

const survivalCurve = defineMethod({
  name: 'cox-survival-curve',
  summary: 'Survival expected under a Cox regression for given covariates, with intervals',
  source: 'Breslow 1972; Tsiatis 1981; Link 1984',
  input: z.strictObject({
    ...coxInput,
    at: z
      .record(z.string(), z.union([z.number(), z.string()]))
      .describe('The covariates of the curve: a number or a label for each covariate, by its name'),
    scale: z
      .enum(['log-log', 'log', 'plain'])
      .optional()
      .describe('Scale on which the interval is built; default log-log, which stays inside 0 and 1'),
    times: z
      .array(z.number().min(0))
      .optional()
      .describe('Times at which the curve is read off too; default: none'),
  }),
  answer: {
    curves:
      'For each stratum: distinct event times, rows at risk and events, survival from then on, cumulative hazard, its standard error, limits of the survival, lower limit before the first event, last time under observation',
    readings:
      'For each stratum the survival and its limits at the times asked for; null after the last time observed',
  },
  example: {
    about: ABOUT_OVARIAN,
    input: { ...OVARIAN, at: { age: 55, arm: 'with adriamycin' }, times: [365, 730] },
  },
  run: (input) =>
    withFit(input, (fit) => {
      const curves = predictedSurvival(fit, input.at, { ...(input.scale && { scale: input.scale }) });
      if (isRefusal(curves)) return curves;
      const readings = curves.map((curve) => ({
        stratum: curve.stratum,
        survival: predictedSurvivalAt(curve, input.times ?? []),
      }));
      return { curves, readings };
    }),
});

const baseline = defineMethod({
  name: 'cox-baseline-hazard',
  summary: 'Baseline cumulative hazard of a Cox regression',
  source: 'Breslow 1972; Therneau and Grambsch 2000, section 10.2',
  input: z.strictObject(coxInput),
  answer: {
    strata:
      'For each stratum: distinct event times and the cumulative hazard of a row whose numbers are 0 and factors at their reference',
  },
  example: { about: ABOUT_OVARIAN, input: OVARIAN },
  run: (input) =>
    withFit(input, (fit) => {
      const strata = baselineHazard(fit);
      return isRefusal(strata) ? strata : { strata };
    }),
});

const proportionalHazards = defineMethod({
  name: 'cox-proportional-hazards-test',
  summary: 'Test of proportional hazards by a score test, with scaled Schoenfeld residuals',
  source: 'Grambsch and Therneau 1994; Therneau and Grambsch 2000, chapter 6',
  input: z.strictObject({
    ...coxInput,
    transform: z
      .enum(['km', 'rank', 'identity', 'log'])
      .optional()
      .describe('Function of time along which coefficients may drift; default km, 1 minus Kaplan-Meier'),
  }),
  answer: {
    transform: 'The function of time that was used',
    terms:
      'For each covariate, a factor as a whole: chi-squared, degrees of freedom, p value; null where it can not be told',
    global: 'The same for all covariates together',
    schoenfeld:
      'For each event: row (from 0), time, covariates less their mean at risk, and the same scaled so that its course over time is that of the coefficient',
  },
  example: { about: ABOUT_OVARIAN, input: OVARIAN },
  run: (input) =>
    withFit(input, (fit) => {
      const test = proportionalHazardsTest(fit, input.transform);
      const schoenfeld = schoenfeldResiduals(fit);
      if (isRefusal(test)) return test;
      return isRefusal(schoenfeld) ? schoenfeld : { ...test, schoenfeld };
    }),
});

const residuals = defineMethod({
  name: 'cox-residuals',
  summary: 'Martingale, deviance and score residuals of a Cox regression',
  source: 'Barlow and Prentice 1988; Therneau, Grambsch and Fleming 1990',
  input: z.strictObject(coxInput),
  answer: {
    martingale: 'For each row, events seen less events expected',
    deviance: 'For each row, the martingale residual made more symmetric about zero',
    score: "For each row, its part of the log likelihood's first derivatives, one for each column",
  },
  example: { about: ABOUT_OVARIAN, input: OVARIAN },
  run: (input) => withFit(input, (fit) => coxResiduals(fit)),
});

export const COX_METHODS: readonly ComputeMethod[] = [
  coxRegression,
  survivalCurve,
  baseline,
  proportionalHazards,
  residuals,
];
