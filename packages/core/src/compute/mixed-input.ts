import { z } from 'zod';
import { splineBasis, splineForAges } from '../growth';
import {
  fitMixedModel,
  prepareMixedModel,
  type MixedFit,
  type MixedModel,
  type NamedColumn,
  type RandomTerm,
  type ResidualModel,
} from '../mixed';
import { designMatrix, isRefusal, refuse, type Refusal } from '../numeric';
import { asDesignTerms, designTerms } from './design-terms';

const labels = z.array(z.union([z.string(), z.number()]));
const structure = z.enum(['full', 'diagonal']).optional();
const numericColumns = z.array(
  z.strictObject({
    name: z.string().min(1).describe('Name of the column in the answer'),
    numbers: z.array(z.number()).describe('One number for each row'),
  }),
);

/** The keys that every method on a linear mixed model shares. */
export const mixedInput = {
  response: z.array(z.number()).describe('The measured value of each row, in its own unit'),
  fixed: designTerms
    .optional()
    .describe('Fixed effects: covariates and factors, each with one value for each row. Default: none'),
  splines: z
    .array(
      z.strictObject({
        name: z.string().min(1).describe('Name of the covariate; columns are called name.1, name.2 ...'),
        numbers: z.array(z.number()).describe('One number for each row'),
        degreesOfFreedom: z
          .int()
          .min(1)
          .max(20)
          .describe('1 is a straight line; inner knots at equally spaced quantiles'),
      }),
    )
    .optional()
    .describe('Fixed effects that bend: natural cubic splines of a covariate. Default: none'),
  interactions: z
    .array(z.array(z.string()).length(2))
    .optional()
    .describe('Pairs of names of fixed effects or splines whose columns are multiplied. Default: none'),
  intercept: z.boolean().optional().describe('A column of ones among the fixed effects; default true'),
  groups: labels.describe('Label of the group of each row, usually the patient; equal labels are one group'),
  randomIntercept: z
    .boolean()
    .optional()
    .describe('Each group has a level of its own; default true. False only with random slopes'),
  randomSlopes: numericColumns
    .optional()
    .describe('Covariates whose slope is each group’s own, as time since the start; default: none'),
  covariance: structure.describe(
    'full (default): levels and slopes of a group may be correlated; diagonal: they are not',
  ),
  outerGroups: labels
    .optional()
    .describe('Label of what the groups are nested in, usually the centre; adds its random intercept'),
  outerSlopes: numericColumns
    .optional()
    .describe('Covariates whose slope is each outer group’s own; default: none'),
  outerCovariance: structure.describe('As `covariance`, for the outer groups; default full'),
  weights: z
    .array(z.number())
    .optional()
    .describe('Residual variance of a row is sigma² / weight; above 0. Default: 1 each'),
  knownResidualSd: z
    .number()
    .optional()
    .describe(
      'Residual standard deviation where it is known, as from a method-error study; default: estimated',
    ),
  knownResidualVariances: z
    .array(z.number())
    .optional()
    .describe('Residual variance of each row where all are known; default: estimated'),
  criterion: z
    .enum(['REML', 'ML'])
    .optional()
    .describe(
      'REML (default) for estimates; ML where models with different fixed effects are compared by their likelihood',
    ),
  level: z.number().gt(0).lt(1).optional().describe('Confidence level of the intervals; default 0.95'),
};

type MixedInput = z.output<z.ZodObject<typeof mixedInput>>;

/** Where the columns of one term of the fixed effects lie. */
export interface FixedTerm {
  readonly name: string;
  readonly columns: readonly number[];
}

/** A model as it came in, made ready and fitted. */
export interface FittedInput {
  readonly model: MixedModel;
  readonly fit: MixedFit;
  readonly terms: readonly FixedTerm[];
}

/** Fits the model that the input describes and goes on from there. */
export function withMixedFit<Answer extends object>(
  input: MixedInput,
  next: (fitted: FittedInput) => Answer | Refusal,
): Answer | Refusal {
  const fixed = fixedColumns(input);
  if (isRefusal(fixed)) return fixed;
  const residual = residualModel(input);
  if (isRefusal(residual)) return residual;
  if (input.outerGroups === undefined && (input.outerSlopes ?? []).length > 0) {
    return refuse(
      'no-outer-groups',
      'outerSlopes are given without outerGroups; give the label of each row.',
    );
  }
  const ones = { name: '(intercept)', values: new Float64Array(input.response.length).fill(1) };
  const slopes = (input.randomSlopes ?? []).map(({ name, numbers }) => ({ name, values: numbers }));
  const random: RandomTerm = {
    factor: 'group',
    labels: input.groups,
    columns: input.randomIntercept === false ? slopes : [ones, ...slopes],
    structure: input.covariance ?? 'full',
  };
  const model = prepareMixedModel({
    response: input.response,
    fixed: fixed.columns,
    random,
    ...(input.outerGroups && {
      outer: {
        factor: 'outer group',
        labels: input.outerGroups,
        columns: [ones, ...(input.outerSlopes ?? []).map(({ name, numbers }) => ({ name, values: numbers }))],
        structure: input.outerCovariance ?? 'full',
      },
    }),
    ...(residual && { residual }),
  });
  if (isRefusal(model)) return model;
  const fit = fitMixedModel(model, { criterion: input.criterion ?? 'REML' });
  return isRefusal(fit) ? fit : next({ model, fit, terms: fixed.terms });
}

function residualModel(input: MixedInput): ResidualModel | undefined | Refusal<'residual-twice'> {
  const { weights, knownResidualSd, knownResidualVariances } = input;
  const given: ResidualModel[] = [
    ...(weights === undefined ? [] : [{ weights }]),
    ...(knownResidualSd === undefined ? [] : [{ standardDeviation: knownResidualSd }]),
    ...(knownResidualVariances === undefined ? [] : [{ variances: knownResidualVariances }]),
  ];
  return given.length > 1
    ? refuse('residual-twice', 'Give one of weights, knownResidualSd and knownResidualVariances, not two.')
    : given[0];
}

function fixedColumns(
  input: MixedInput,
): { readonly columns: NamedColumn[]; readonly terms: FixedTerm[] } | Refusal {
  const rows = input.response.length;
  const design = designMatrix(asDesignTerms(input.fixed ?? []), rows, { intercept: input.intercept ?? true });
  if (isRefusal(design)) return design;
  const columns: NamedColumn[] = design.names.map((name, j) => ({
    name,
    values: Float64Array.from({ length: rows }, (_, i) => design.values[i * design.columns + j] ?? NaN),
  }));
  const terms: FixedTerm[] = design.terms.map(({ name, firstColumn, columns: count }) => ({
    name,
    columns: Array.from({ length: count }, (_, k) => firstColumn + k),
  }));
  const add = (name: string, added: readonly NamedColumn[]): void => {
    terms.push({ name, columns: added.map((_, k) => columns.length + k) });
    columns.push(...added);
  };
  for (const { name, numbers, degreesOfFreedom } of input.splines ?? []) {
    if (terms.some((term) => term.name === name)) return refuse('name-twice', `Two terms are named ${name}.`);
    add(name, splineColumns(name, numbers, degreesOfFreedom));
  }
  for (const pair of input.interactions ?? []) {
    const [left, right] = pair.map((name) => terms.find((term) => term.name === name));
    if (left === undefined || right === undefined) {
      return refuse(
        'unknown-term',
        `The interaction of ${pair.join(' and ')} names no fixed effect; there are ${terms.map(({ name }) => name).join(', ') || 'none'}.`,
      );
    }
    add(
      `${left.name}:${right.name}`,
      left.columns.flatMap((i) => right.columns.map((j) => productOf(columns[i], columns[j]))),
    );
  }
  return { columns, terms };
}

function splineColumns(name: string, numbers: readonly number[], degreesOfFreedom: number): NamedColumn[] {
  const spline = splineForAges(
    [...numbers].sort((a, b) => a - b),
    degreesOfFreedom,
  );
  const rows = numbers.map((value) => splineBasis(spline, value));
  return (rows[0] ?? []).map((_, k) => ({
    name: `${name}.${k + 1}`,
    values: rows.map((row) => row[k] ?? NaN),
  }));
}

function productOf(left: NamedColumn | undefined, right: NamedColumn | undefined): NamedColumn {
  const values = Array.from(left?.values ?? [], (value, i) => value * (right?.values[i] ?? NaN));
  return { name: `${left?.name ?? ''}:${right?.name ?? ''}`, values };
}

/** Distance from the pituitary to the pterygomaxillary fissure, mm, at 8, 10, 12 and 14 years; 16 boys, 11 girls. */
export const POTTHOFF_ROY = {
  response: [
    26, 25, 29, 31, 21.5, 22.5, 23, 26.5, 23, 22.5, 24, 27.5, 25.5, 27.5, 26.5, 27, 20, 23.5, 22.5, 26, 24.5,
    25.5, 27, 28.5, 22, 22, 24.5, 26.5, 24, 21.5, 24.5, 25.5, 23, 20.5, 31, 26, 27.5, 28, 31, 31.5, 23, 23,
    23.5, 25, 21.5, 23.5, 24, 28, 17, 24.5, 26, 29.5, 22.5, 25.5, 25.5, 26, 23, 24.5, 26, 30, 22, 21.5, 23.5,
    25, 21, 20, 21.5, 23, 21, 21.5, 24, 25.5, 20.5, 24, 24.5, 26, 23.5, 24.5, 25, 26.5, 21.5, 23, 22.5, 23.5,
    20, 21, 21, 22.5, 21.5, 22.5, 23, 25, 23, 23, 23.5, 24, 20, 21, 22, 21.5, 16.5, 19, 19, 19.5, 24.5, 25,
    28, 28,
  ],
  groups: Array.from({ length: 108 }, (_, i) => Math.floor(i / 4) + 1),
  fixed: [
    {
      name: 'sex',
      labels: Array.from({ length: 108 }, (_, i) => (i < 64 ? 'male' : 'female')),
      levels: ['female', 'male'],
    },
    { name: 'age', numbers: Array.from({ length: 108 }, (_, i) => [-3, -1, 1, 3][i % 4] ?? 0) },
  ],
  interactions: [['sex', 'age']],
  randomSlopes: [{ name: 'age', numbers: Array.from({ length: 108 }, (_, i) => [-3, -1, 1, 3][i % 4] ?? 0) }],
};

export const ABOUT_POTTHOFF_ROY =
  'Distance from the pituitary to the pterygomaxillary fissure (mm) at 8, 10, 12 and 14 years, age counted from 11. Potthoff RF, Roy SN. Biometrika 1964;51:313-326.';

/** Strength of a chemical paste: two assays of each of three casks in each of ten deliveries. */
export const PASTES = {
  response: [
    62.8, 62.6, 60.1, 62.3, 62.7, 63.1, 60, 61.4, 57.5, 56.9, 61.1, 58.9, 58.7, 57.5, 63.9, 63.1, 65.4, 63.7,
    57.1, 56.4, 56.9, 58.6, 64.7, 64.5, 55.1, 55.1, 54.7, 54.2, 58.8, 57.5, 63.4, 64.9, 59.3, 58.1, 60.5, 60,
    62.5, 62.6, 61, 58.7, 56.9, 57.7, 59.2, 59.4, 65.2, 66, 64.8, 64.1, 54.8, 54.8, 64, 64, 57.7, 56.8, 58.3,
    59.3, 59.2, 59.2, 58.9, 56.6,
  ],
  groups: Array.from({ length: 60 }, (_, i) => (Math.floor(i / 2) % 3) + 1),
  outerGroups: Array.from({ length: 60 }, (_, i) => Math.floor(i / 6) + 1),
};

export const ABOUT_PASTES =
  'Strength of a chemical paste, two assays of each of three casks in each of ten deliveries. Davies OL, Goldsmith PL. Statistical methods in research and production, 1972.';
