import { checkColumn, refuse, type ColumnRule, type Refusal } from '../numeric';

/** What can be wrong with data or model; the message says where, and what would be right. */
export type MixedRefusalCode =
  | 'wrong-length'
  | 'wrong-value'
  | 'no-columns'
  | 'too-few-responses'
  | 'too-few-groups'
  | 'no-repeats'
  | 'redundant-columns'
  | 'no-residual-variation'
  | 'unidentified-variance'
  | 'arithmetic-breaks-down';

/** Why a mixed model could not be set up or fitted. */
export type MixedRefusal = Refusal<MixedRefusalCode>;

/** A column of a design matrix with the name by which results and refusals call it. */
export interface NamedColumn {
  readonly name: string;
  /** One value a response. */
  readonly values: ArrayLike<number>;
}

/** `full`: every standard deviation and every correlation is estimated; `diagonal`: correlations are 0. */
export type RandomStructure = 'full' | 'diagonal';

/** Random effects of one grouping factor. */
export interface RandomTerm {
  /** What a group is, for names in results: "patient". */
  readonly factor: string;
  /** One label a response. Equal labels are one group, in whatever order the rows come. */
  readonly labels: ArrayLike<string | number>;
  /** The q columns that the random effects multiply; a column of ones for a random intercept. */
  readonly columns: readonly NamedColumn[];
  readonly structure?: RandomStructure;
}

/**
 * What is known about the scatter within a group.
 * - nothing given: one residual variance, estimated
 * - `weights`: the residual variance of response i is sigma^2 / weights[i], sigma estimated
 * - `standardDeviation`: the residual standard deviation is known, as from a method-error study
 * - `variances`: the residual variance of each response is known
 */
export type ResidualModel =
  | { readonly weights: ArrayLike<number> }
  | { readonly standardDeviation: number }
  | { readonly variances: ArrayLike<number> };

/** Data and model, column by column; n responses, one entry of each column a response. */
export interface MixedData {
  readonly response: ArrayLike<number>;
  /** The p fixed-effect columns; a column of ones for an intercept. */
  readonly fixed: readonly NamedColumn[];
  /** Random effects of the groups, usually patients. */
  readonly random: RandomTerm;
  /** Random effects of what the groups are nested in, usually centres. A group is a label within a centre. */
  readonly outer?: RandomTerm;
  readonly residual?: ResidualModel;
}

/** Sums of squares and products of what is larger or smaller can't be held in doubles. */
const LARGEST = 1e60;

/** What the entries of responses, columns, contrasts and places of prediction must be. */
export const IN_RANGE: ColumnRule = {
  holds: (value) => Math.abs(value) <= LARGEST,
  must: 'a finite number, no larger than 1e60 either way',
};
const WEIGHT: ColumnRule = {
  holds: (value) => value >= 1 / LARGEST && value <= LARGEST,
  must: 'a number above 0, between 1e-60 and 1e60',
};

/** Checks names, lengths and single values; what only the whole can show is found when the model is set up. */
export function checkMixedData(data: MixedData): MixedRefusal | null {
  const length = data.response.length;
  if (length === 0) return refuse('too-few-responses', 'response is empty; a model needs responses.');
  if (data.fixed.length === 0) {
    return refuse(
      'no-columns',
      'There is no fixed-effect column; give at least a column of ones, the intercept.',
    );
  }
  const wrong = checkColumn('response', data.response, IN_RANGE);
  if (wrong !== null) return wrong;
  for (const column of data.fixed) {
    const fault = checkColumn(`fixed effect ${column.name}`, column.values, IN_RANGE, length);
    if (fault !== null) return fault;
  }
  for (const term of data.outer === undefined ? [data.random] : [data.random, data.outer]) {
    const fault = checkTerm(term, length);
    if (fault !== null) return fault;
  }
  return data.residual === undefined ? null : checkResidual(data.residual, length);
}

function checkTerm(term: RandomTerm, length: number): MixedRefusal | null {
  if (term.columns.length === 0) {
    return refuse(
      'no-columns',
      `The random effects of ${term.factor} have no column; give a column of ones for a random intercept.`,
    );
  }
  if (term.labels.length !== length) {
    return refuse(
      'wrong-length',
      `The labels of ${term.factor} have ${term.labels.length} entries where ${length} are needed.`,
    );
  }
  for (const column of term.columns) {
    const fault = checkColumn(
      `random effect ${column.name} of ${term.factor}`,
      column.values,
      IN_RANGE,
      length,
    );
    if (fault !== null) return fault;
  }
  return null;
}

function checkResidual(residual: ResidualModel, length: number): MixedRefusal | null {
  if ('weights' in residual) return checkColumn('weights', residual.weights, WEIGHT, length);
  if ('variances' in residual) return checkColumn('variances', residual.variances, WEIGHT, length);
  const sd = residual.standardDeviation;
  return WEIGHT.holds(sd)
    ? null
    : refuse('wrong-value', `The residual standard deviation is ${sd}; it must be ${WEIGHT.must}.`);
}

/** The weight of each response, and the residual standard deviation where it is known (with weights, per unit weight). */
export interface ResidualWeights {
  readonly weights: Float64Array | null;
  /** Null where it is to be estimated. */
  readonly knownSd: number | null;
}

/** One form for the four kinds of residual model. */
export function residualWeights(residual: ResidualModel | undefined): ResidualWeights {
  if (residual === undefined) return { weights: null, knownSd: null };
  if ('weights' in residual) return { weights: Float64Array.from(residual.weights), knownSd: null };
  if ('variances' in residual) {
    return { weights: Float64Array.from(residual.variances, (variance) => 1 / variance), knownSd: 1 };
  }
  return { weights: null, knownSd: residual.standardDeviation };
}
