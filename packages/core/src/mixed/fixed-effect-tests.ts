import {
  checkColumn,
  chiSquaredUpperTail,
  fUpperTail,
  normalTwoSidedP,
  refuse,
  studentTwoSidedP,
  twoSidedNormal,
  twoSidedStudent,
  type Refusal,
} from '../numeric';
import type { MixedFit } from './linear-mixed-model';
import type { MixedModel } from './mixed-model';
import { IN_RANGE } from './model-data';
import { contrastPrecision, varianceKnowledge, type VarianceKnowledge } from './satterthwaite';
import { sandwich } from './small-matrices';
import { symmetricEigen } from './symmetric-eigen';

/** A linear combination of fixed effects with its uncertainty. */
export interface ContrastEstimate {
  readonly name: string;
  readonly estimate: number;
  readonly standardError: number;
  /** Satterthwaite's degrees of freedom; null where nothing but known variances stands behind the error: then normal. */
  readonly df: number | null;
  /** (estimate - nullValue) / standardError. */
  readonly t: number;
  /** Two-sided, of the estimate being the null value. */
  readonly p: number;
  /** Null where so little is known of the variance, far below one degree of freedom, that no number is large enough. */
  readonly lower: number | null;
  readonly upper: number | null;
}

/** A joint test that several linear combinations of fixed effects are all zero. */
export interface ContrastTest {
  readonly f: number;
  /** The number of combinations that don't follow from each other. */
  readonly numeratorDf: number;
  /** Null where nothing but known variances stands behind the test: then chi-squared. */
  readonly denominatorDf: number | null;
  readonly p: number;
}

/** Why a contrast could not be judged. */
export type ContrastRefusal = Refusal<
  'wrong-length' | 'wrong-value' | 'wrong-level' | 'zero-contrast' | 'no-curvature'
>;

/** Each fixed effect with its t test and interval on Satterthwaite's degrees of freedom; in the order of the columns. */
export function fixedEffects(
  model: MixedModel,
  fit: MixedFit,
  level = 0.95,
): readonly ContrastEstimate[] | ContrastRefusal {
  const { p } = model.products;
  const units = Array.from({ length: p }, (_, i) => Array.from({ length: p }, (__, j) => (i === j ? 1 : 0)));
  return contrasts(
    model,
    fit,
    units.map((weights, i) => ({ name: fit.fixedNames[i] ?? '', weights })),
    level,
  );
}

/** A combination to be estimated: one weight a fixed effect. */
export interface Contrast {
  readonly name: string;
  readonly weights: readonly number[];
  /** The value that is tested; 0 where not given. */
  readonly nullValue?: number;
}

/** Linear combinations of fixed effects with t tests and intervals on Satterthwaite's degrees of freedom. */
export function contrasts(
  model: MixedModel,
  fit: MixedFit,
  wanted: readonly Contrast[],
  level = 0.95,
): readonly ContrastEstimate[] | ContrastRefusal {
  if (!(level > 0 && level < 1)) {
    return refuse('wrong-level', `The level is ${level}; it must lie between 0 and 1, as 0.95.`);
  }
  for (const { name, weights } of wanted) {
    const fault = checkWeights(`contrast ${name}`, weights, model.products.p);
    if (fault !== null) return fault;
  }
  const knowledge = varianceKnowledge(model, fit);
  if (knowledge === null) return noCurvature();
  return wanted.map((contrast) => estimateOf(knowledge, contrast, level));
}

function estimateOf(knowledge: VarianceKnowledge, contrast: Contrast, level: number): ContrastEstimate {
  const { name, weights, nullValue = 0 } = contrast;
  const { variance, df } = contrastPrecision(knowledge, weights);
  const estimate = product(weights, knowledge.fit.coefficients);
  const standardError = Math.sqrt(variance);
  const t = (estimate - nullValue) / standardError;
  const margin = standardError * (df === null ? twoSidedNormal(level) : twoSidedStudent(level, df));
  return {
    name,
    estimate,
    standardError,
    df,
    t,
    p: df === null ? normalTwoSidedP(t) : studentTwoSidedP(t, df),
    lower: Number.isFinite(margin) ? estimate - margin : null,
    upper: Number.isFinite(margin) ? estimate + margin : null,
  };
}

/**
 * F test that all rows of a contrast matrix are zero. The rows are turned into uncorrelated ones by the eigenvectors
 * of their covariance; the degrees of freedom are those whose F has the mean that the sum of the squared t
 * statistics has. The degrees of freedom, not F, depend a little on how the rows are scaled against each other.
 * Source: Fai and Cornelius 1996.
 */
export function testContrasts(
  model: MixedModel,
  fit: MixedFit,
  rows: readonly (readonly number[])[],
): ContrastTest | ContrastRefusal {
  const { p } = model.products;
  if (rows.length === 0)
    return refuse('zero-contrast', 'There is no contrast to be tested; give one row or more.');
  for (const [i, row] of rows.entries()) {
    const fault = checkWeights(`contrast row ${i + 1}`, row, p);
    if (fault !== null) return fault;
  }
  const knowledge = varianceKnowledge(model, fit);
  if (knowledge === null) return noCurvature();
  const rank = rankOf(knowledge, rows);
  const spread = sandwich(Float64Array.from(rows.flat()), fit.covariance, rows.length, p);
  const { vectors } = symmetricEigen(spread, rows.length);
  let squares = 0;
  const dfs = vectors.slice(rows.length - rank).map((vector) => {
    const weights = Array.from({ length: p }, (_, j) =>
      rows.reduce((sum, row, i) => sum + (vector[i] ?? 0) * (row[j] ?? 0), 0),
    );
    const { variance, df } = contrastPrecision(knowledge, weights);
    squares += product(weights, fit.coefficients) ** 2 / variance;
    return df;
  });
  const f = squares / dfs.length;
  const denominatorDf = combinedDf(dfs);
  return {
    f,
    numeratorDf: dfs.length,
    denominatorDf,
    p:
      denominatorDf === null
        ? chiSquaredUpperTail(squares, dfs.length)
        : fUpperTail(f, dfs.length, denominatorDf),
  };
}

/** How many rows don't follow from others; told on rows of equal standard error, so that units don't matter. */
function rankOf(knowledge: VarianceKnowledge, rows: readonly (readonly number[])[]): number {
  const scaled = rows.flatMap((row) => {
    const error = Math.sqrt(contrastPrecision(knowledge, row).variance);
    return row.map((weight) => weight / error);
  });
  const { covariance } = knowledge.fit;
  const p = knowledge.model.products.p;
  const { values } = symmetricEigen(
    sandwich(Float64Array.from(scaled), covariance, rows.length, p),
    rows.length,
  );
  return values.filter((value) => value > 1e-9 * (values.at(-1) ?? 0)).length;
}

/** Degrees of freedom of the sum of squared t statistics with the given ones each; 2 where one of them has no mean. */
function combinedDf(dfs: readonly (number | null)[]): number | null {
  const [first = null] = dfs;
  if (dfs.length === 1) return first;
  if (first !== null && dfs.every((df) => df !== null && Math.abs(df - first) < 1e-8)) return first;
  if (dfs.some((df) => df !== null && df <= 2)) return 2;
  const excess = dfs.reduce<number>((sum, df) => sum + (df === null ? 0 : 2 / (df - 2)), 0);
  // The mean of the sum is size + excess; that of F is df / (df - 2).
  return excess === 0 ? null : (2 * (dfs.length + excess)) / excess;
}

function checkWeights(name: string, weights: readonly number[], p: number): ContrastRefusal | null {
  const fault = checkColumn(name, weights, IN_RANGE, p);
  if (fault !== null) return fault;
  return weights.every((weight) => weight === 0)
    ? refuse('zero-contrast', `All weights of ${name} are zero; at least one must differ from zero.`)
    : null;
}

function noCurvature(): ContrastRefusal {
  return refuse(
    'no-curvature',
    'The likelihood has no second derivatives at the fit, so degrees of freedom are not defined; simplify the random effects.',
  );
}

function product(left: readonly number[], right: readonly number[]): number {
  return left.reduce((sum, entry, i) => sum + entry * (right[i] ?? 0), 0);
}
