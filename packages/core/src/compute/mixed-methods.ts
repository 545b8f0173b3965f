import { z } from 'zod';
import { splineBasis, splineForAges } from '../growth';
import {
  contrasts,
  fittedValues,
  fixedEffects,
  IN_RANGE,
  predictMeans,
  predictRandomEffects,
  profileVarianceComponents,
  testContrasts,
  varianceComponents,
  type ContrastTest,
  type MixedFit,
} from '../mixed';
import { checkColumn, isRefusal, refuse, type Refusal } from '../numeric';
import { defineMethod, type ComputeMethod } from './method';
import {
  ABOUT_PASTES,
  ABOUT_POTTHOFF_ROY,
  mixedInput,
  PASTES,
  POTTHOFF_ROY,
  withMixedFit,
  type FittedInput,
} from './mixed-input';

/** What a reader needs to know of every fit. */
function aboutFit(fit: MixedFit) {
  const { criterion, logLikelihood, parameters, aic, bic, groups, outerGroups, responses } = fit;
  const { converged, gradient, singularities } = fit;
  return {
    criterion,
    logLikelihood,
    parameters,
    aic,
    bic,
    groups,
    outerGroups,
    responses,
    converged,
    // What lies below is rounding, and differs from machine to machine.
    gradient: Math.round(gradient * 1e9) / 1e9,
    singular: singularities,
  };
}

const ABOUT_FIT = {
  criterion: 'REML or ML',
  logLikelihood: 'Log-likelihood of the criterion, constants included',
  parameters: 'Number of parameters: fixed effects, variances and covariances',
  aic: "Akaike's criterion; after REML comparable between models with the same fixed effects only",
  bic: "Schwarz's criterion, with the logarithm of the number of rows",
  groups: 'Number of groups',
  outerGroups: 'Number of outer groups; 0 without',
  responses: 'Number of rows',
  converged: 'Whether the search ended where nothing is left to gain',
  gradient:
    'Largest absolute derivative of the deviance left, columns scaled to mean square 1; to nine decimals',
  singular:
    'Which variance is estimated as zero, or which correlation as perfect, and what that means; empty where none is',
};

/** An F test for each term of the fixed effects: all its columns zero, the others as they are. */
function termTests({ model, fit, terms }: FittedInput): ({ name: string } & ContrastTest)[] | Refusal {
  const tests: ({ name: string } & ContrastTest)[] = [];
  for (const { name, columns } of terms) {
    const rows = columns.map((column) => fit.coefficients.map((_, j) => (j === column ? 1 : 0)));
    const test = testContrasts(model, fit, rows);
    if (isRefusal(test)) return test;
    tests.push({ name, ...test });
  }
  return tests;
}

const linearMixedModel = defineMethod({
  name: 'linear-mixed-model',
  summary:
    'Linear mixed model: fixed effects with Satterthwaite tests and intervals, variance components, likelihood',
  source:
    'Laird and Ware 1982; Bates, Maechler, Bolker and Walker 2015; Giesbrecht and Burns 1985; Fai and Cornelius 1996',
  input: z.strictObject(mixedInput),
  answer: {
    fixedEffects:
      'Each fixed effect: estimate, standard error, Satterthwaite degrees of freedom (null: normal), t, two-sided p, limits (null: beyond all numbers, far below one degree of freedom)',
    covariance: 'Covariance of the fixed effects, row by row, in their order',
    terms:
      'F test of each term (all its columns zero), numerator and Satterthwaite denominator degrees of freedom; null: chi-squared',
    varianceComponents:
      'Standard deviations and correlations of the random effects, and the residual standard deviation; limits by the method linear-mixed-model-variances',
    ...ABOUT_FIT,
  },
  example: { about: ABOUT_POTTHOFF_ROY, input: POTTHOFF_ROY },
  run: (input) =>
    withMixedFit(input, (fitted) => {
      const { model, fit } = fitted;
      const effects = fixedEffects(model, fit, input.level);
      if (isRefusal(effects)) return effects;
      const terms = termTests(fitted);
      if (isRefusal(terms)) return terms;
      return {
        fixedEffects: effects,
        covariance: fit.covariance,
        terms,
        varianceComponents: varianceComponents(model, fit),
        ...aboutFit(fit),
      };
    }),
});

const variances = defineMethod({
  name: 'linear-mixed-model-variances',
  summary: 'Variance components of a linear mixed model with profile-likelihood intervals',
  source: 'Venzon and Moolgavkar 1988; Bates, Maechler, Bolker and Walker 2015',
  input: z.strictObject(mixedInput),
  answer: {
    components:
      'Standard deviations and correlations with limits; a limit of 0, -1 or 1 is a bound that the likelihood does not exclude. The deviance followed is that of the criterion',
    ...ABOUT_FIT,
  },
  example: { about: ABOUT_PASTES, input: PASTES },
  run: (input) =>
    withMixedFit(input, ({ model, fit }) => {
      const components = profileVarianceComponents(model, fit, input.level);
      return isRefusal(components) ? components : { components, ...aboutFit(fit) };
    }),
});

const contrastMethod = defineMethod({
  name: 'linear-mixed-model-contrasts',
  summary: 'Linear combinations of the fixed effects of a linear mixed model, each and jointly',
  source: 'Giesbrecht and Burns 1985; Fai and Cornelius 1996',
  input: z.strictObject({
    ...mixedInput,
    contrasts: z
      .array(
        z.strictObject({
          name: z.string().min(1).describe('Name of the combination in the answer'),
          weights: z
            .record(z.string(), z.number())
            .describe(
              'Weight of each fixed effect by its column name, as `(intercept)` or `sex=male`; others 0',
            ),
          nullValue: z.number().optional().describe('The value that is tested; default 0'),
        }),
      )
      .min(1)
      .describe('The combinations wanted'),
  }),
  answer: {
    contrasts:
      'For each: estimate, standard error, Satterthwaite degrees of freedom, t, two-sided p, limits (null: beyond all numbers, far below one degree of freedom)',
    joint: 'F test that all combinations are zero (whatever their null values)',
    ...ABOUT_FIT,
  },
  example: {
    about: ABOUT_POTTHOFF_ROY,
    input: {
      ...POTTHOFF_ROY,
      contrasts: [
        { name: 'rate of boys, mm a year', weights: { age: 1, 'sex=male:age': 1 } },
        { name: 'boys minus girls at 14', weights: { 'sex=male': 1, 'sex=male:age': 3 } },
      ],
    },
  },
  run: (input) =>
    withMixedFit(input, ({ model, fit }) => {
      for (const { name, weights } of input.contrasts) {
        const unknown = Object.keys(weights).find((column) => !fit.fixedNames.includes(column));
        if (unknown !== undefined) {
          return refuse(
            'unknown-column',
            `Contrast ${name} weighs ${unknown}; the fixed effects are ${fit.fixedNames.join(', ')}.`,
          );
        }
      }
      const wanted = input.contrasts.map(({ name, weights, nullValue }) => ({
        name,
        weights: fit.fixedNames.map((column) => weights[column] ?? 0),
        ...(nullValue !== undefined && { nullValue }),
      }));
      const found = contrasts(model, fit, wanted, input.level);
      if (isRefusal(found)) return found;
      const joint = testContrasts(
        model,
        fit,
        wanted.map(({ weights }) => weights),
      );
      return isRefusal(joint) ? joint : { contrasts: found, joint, ...aboutFit(fit) };
    }),
});

const label = z.union([z.string(), z.number(), z.null()]);

const predictions = defineMethod({
  name: 'linear-mixed-model-predictions',
  summary: 'Predicted random effects, fitted values, residuals and predicted means of a linear mixed model',
  source: 'Henderson 1975; Robinson 1991; Kackar and Harville 1984; Prasad and Rao 1990',
  input: z.strictObject({
    ...mixedInput,
    at: z
      .array(
        z.strictObject({
          group: label.describe('A group of the data, or null for one not seen'),
          outerGroup: label.optional().describe('Its outer group, or null for one not seen; default null'),
          fixed: z
            .record(z.string(), z.number())
            .describe(
              'Value of each fixed-effect column by its name; `(intercept)` is 1, others not named are 0',
            ),
          random: z
            .record(z.string(), z.number())
            .optional()
            .describe('Value of each random-slope column by its name; not named: 0'),
          outer: z
            .record(z.string(), z.number())
            .optional()
            .describe('Value of each outer-slope column by its name; not named: 0'),
        }),
      )
      .optional()
      .describe('Places where the mean of a group is wanted; default: none'),
  }),
  answer: {
    groupEffects:
      'For each group the predicted effects, their standard deviations given the data, standard errors of prediction with the variances taken as known (`predictionErrors`) and estimated (`fullErrors`, on `df` degrees of freedom; null: normal), and limits from the latter; effects in the order of `effectNames`',
    outerGroupEffects: 'The same for each outer group',
    effectNames: 'Names of the random effects of a group',
    outerEffectNames: 'Names of the random effects of an outer group',
    population: 'Fitted value of each row from the fixed effects alone',
    fitted: 'Fitted value of each row with the predicted random effects',
    residuals: 'Response minus `fitted`',
    means:
      'For each place asked for: predicted mean of the group, its standard error of prediction with the variances estimated, degrees of freedom (null: normal), limits of the mean and of a new value of weight 1',
    ...ABOUT_FIT,
  },
  example: {
    about: ABOUT_POTTHOFF_ROY,
    input: {
      ...POTTHOFF_ROY,
      at: [
        { group: 1, fixed: { 'sex=male': 1, age: 5, 'sex=male:age': 5 }, random: { age: 5 } },
        { group: null, fixed: { age: 5 }, random: { age: 5 } },
      ],
    },
  },
  run: (input) =>
    withMixedFit(input, ({ model, fit }) => {
      const effects = predictRandomEffects(model, fit, input.level);
      if (isRefusal(effects)) return effects;
      const values = fittedValues(model, fit);
      if (isRefusal(values)) return values;
      const rows: Parameters<typeof predictMeans>[2][number][] = [];
      for (const [i, place] of (input.at ?? []).entries()) {
        const fixed = valuesByName(`at[${i}].fixed`, fit.fixedNames, place.fixed);
        const random = valuesByName(`at[${i}].random`, model.random.names, place.random ?? {});
        const outer = valuesByName(`at[${i}].outer`, model.outer?.names ?? [], place.outer ?? {});
        if (isRefusal(fixed)) return fixed;
        if (isRefusal(random)) return random;
        if (isRefusal(outer)) return outer;
        rows.push({ label: place.group, outerLabel: place.outerGroup ?? null, fixed, random, outer });
      }
      const means = predictMeans(model, fit, rows, input.level);
      if (isRefusal(means)) return means;
      return {
        groupEffects: effects.groups,
        outerGroupEffects: effects.outerGroups,
        effectNames: model.random.names,
        outerEffectNames: model.outer?.names ?? [],
        ...values,
        means,
        ...aboutFit(fit),
      };
    }),
});

function valuesByName(
  where: string,
  names: readonly string[],
  values: Readonly<Record<string, number>>,
): number[] | Refusal<'unknown-column'> {
  const unknown = Object.keys(values).find((name) => !names.includes(name));
  return unknown === undefined
    ? names.map((name) => values[name] ?? (name === '(intercept)' ? 1 : 0))
    : refuse(
        'unknown-column',
        `${where} names ${unknown}; there are ${names.join(', ') || 'no such columns'}.`,
      );
}

const splineMethod = defineMethod({
  name: 'natural-spline-basis',
  summary: 'Columns of a natural cubic spline, to be used as fixed effects',
  source: 'Hastie, Tibshirani and Friedman 2009, section 5.2.1',
  input: z.strictObject({
    values: z.array(z.number()).min(1).describe('The covariate, one number for each row'),
    degreesOfFreedom: z
      .int()
      .min(1)
      .max(20)
      .describe('Number of columns; 1 is a straight line, inner knots lie at equally spaced quantiles'),
  }),
  answer: {
    knots: 'Knots in rising order, the first and last at the ends of the data; equal quantiles count once',
    columns:
      'The columns: the covariate scaled to 0 at the first and 1 at the last knot, then one for each inner knot',
  },
  example: {
    about: 'Invented ages, years.',
    input: { values: [6, 7.5, 8, 9, 10.5, 12, 13, 14.5, 16], degreesOfFreedom: 3 },
  },
  run: ({ values, degreesOfFreedom }) => {
    const fault = checkColumn('values', values, IN_RANGE);
    if (fault !== null) return fault;
    const spline = splineForAges(
      [...values].sort((a, b) => a - b),
      degreesOfFreedom,
    );
    if (spline.knots.length < 2) {
      return refuse('one-value', 'All values are equal; a spline needs two different ones or more.');
    }
    const rows = values.map((value) => splineBasis(spline, value));
    return {
      knots: spline.knots,
      columns: (rows[0] ?? []).map((_, k) => rows.map((row) => row[k] ?? 0)),
    };
  },
});

export const MIXED_METHODS: readonly ComputeMethod[] = [
  linearMixedModel,
  variances,
  contrastMethod,
  predictions,
  splineMethod,
];
