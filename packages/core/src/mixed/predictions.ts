import { refuse, type Refusal } from '../numeric';
import { groupStates, type GroupStates } from './group-states';
import type { MixedFit } from './linear-mixed-model';
import type { MixedModel, TermBasis } from './mixed-model';
import { multiplierOf, predictionUncertainty, type Predicted } from './prediction-errors';
import { multiply, sandwich } from './small-matrices';

/** Predicted random effects of one group, in the order of the term's columns. */
export interface PredictedEffects {
  readonly label: string | number;
  /** The outer group it is nested in; null where nothing is nested, and for an outer group. */
  readonly outerLabel: string | number | null;
  readonly effects: readonly number[];
  /** Standard deviations of the true effects given the responses, all parameters taken as known. */
  readonly conditionalSds: readonly number[];
  /** Standard errors of prediction, effects minus truth, with the fixed effects estimated; variances taken as known. */
  readonly predictionErrors: readonly number[];
  /** The same with the variances estimated: roots of mean squared errors, and their degrees of freedom (null: normal). */
  readonly fullErrors: readonly number[];
  readonly df: readonly (number | null)[];
  /** Limits from `fullErrors`, Student's t on `df`. */
  readonly lower: readonly number[];
  readonly upper: readonly number[];
}

/** Predicted random effects of all groups, in order of appearance. */
export interface RandomEffects {
  readonly groups: readonly PredictedEffects[];
  /** Empty where nothing is nested. */
  readonly outerGroups: readonly PredictedEffects[];
}

/**
 * Best linear unbiased predictions of the random effects with their errors.
 * Sources: Henderson 1975; Robinson 1991; limits as `predictionUncertainty`.
 */
export function predictRandomEffects(
  model: MixedModel,
  fit: MixedFit,
  level = 0.95,
): RandomEffects | Refusal<'wrong-level' | 'no-prediction'> {
  if (!(level > 0 && level < 1)) return wrongLevel(level);
  const states = groupStates(model, fit);
  const uncertainty = predictionUncertainty(model, fit, (at) => flattened(ownEffects(model, at)));
  if (states === null || uncertainty === null) return noPrediction();
  let next = 0;
  const shown = ownEffects(model, states).map((group) => {
    const limits = uncertainty.slice(next, next + group.effects.length);
    next += group.effects.length;
    const margins = limits.map(({ error, df }) => multiplierOf(level, df) * error);
    const roots = (relative: Float64Array): number[] =>
      Array.from(relative, (entry) => fit.residualSd * Math.sqrt(Math.max(0, entry)));
    return {
      label: group.label,
      outerLabel: group.outerLabel,
      effects: Array.from(group.effects),
      conditionalSds: roots(group.given),
      predictionErrors: roots(group.total),
      fullErrors: limits.map(({ error }) => error),
      df: limits.map(({ df }) => df),
      lower: limits.map(({ value }, i) => value - (margins[i] ?? NaN)),
      upper: limits.map(({ value }, i) => value + (margins[i] ?? NaN)),
    };
  });
  const groups = states.groups.length;
  return { groups: shown.slice(0, groups), outerGroups: shown.slice(groups) };
}

interface OwnEffects {
  readonly label: string | number;
  readonly outerLabel: string | number | null;
  readonly effects: Float64Array;
  /** Variances given responses and coefficients, and of prediction errors; over the residual variance. */
  readonly given: Float64Array;
  readonly total: Float64Array;
}

/** The effects of all groups, then of all outer groups, in the terms' own columns. */
function ownEffects(model: MixedModel, states: GroupStates): OwnEffects[] {
  const { order, random, outer } = model;
  const { p } = model.products;
  const own = (basis: TermBasis, effects: Float64Array, spread: Float64Array, pull: Float64Array) => {
    const { size, back } = basis;
    const given = diagonalOf(sandwich(back, spread, size, size), size);
    const moved = multiply(back, pull, size, size, p);
    const error = diagonalOf(sandwich(moved, states.value.inverseInformation, size, p), size);
    return {
      effects: multiply(back, effects, size, size, 1),
      given,
      total: given.map((entry, i) => entry + (error[i] ?? NaN)),
    };
  };
  const groups = states.groups.map((state, g) => ({
    label: order.groupLabels[g] ?? '',
    outerLabel: order.outerLabels[state.outer] ?? null,
    ...own(random, state.effects, spreadOfGroup(model, states, g), state.pull),
  }));
  if (outer === null) return groups;
  const outers = states.outers.map((state, o) => ({
    label: order.outerLabels[o] ?? '',
    outerLabel: null,
    ...own(outer, state.effects, state.spread, state.pull),
  }));
  return [...groups, ...outers];
}

function flattened(groups: readonly OwnEffects[]): Predicted {
  const size = groups.reduce((sum, group) => sum + group.effects.length, 0);
  const values = new Float64Array(size);
  const relativeVariances = new Float64Array(size);
  let next = 0;
  for (const { effects, total } of groups) {
    values.set(effects, next);
    relativeVariances.set(total, next);
    next += effects.length;
  }
  return { values, relativeVariances };
}

function diagonalOf(matrix: Float64Array, size: number): Float64Array {
  return Float64Array.from({ length: size }, (_, i) => matrix[i * size + i] ?? NaN);
}

/** Covariance of a group's effects given responses and coefficients, over the residual variance: its outer group's effects are not known either. */
function spreadOfGroup(model: MixedModel, states: GroupStates, group: number): Float64Array {
  const { q, r } = model.products;
  const state = states.groups[group];
  if (state === undefined) return new Float64Array(q * q);
  const outer = states.outers[state.outer];
  if (outer === undefined) return state.spread;
  const added = sandwich(state.share, outer.spread, q, r);
  return state.spread.map((entry, i) => entry + (added[i] ?? 0));
}

/** Fitted values and what they leave, one entry a response in the order of the data. */
export interface FittedValues {
  /** From the fixed effects alone. */
  readonly population: Float64Array;
  /** With the predicted random effects of the response's groups. */
  readonly fitted: Float64Array;
  /** Response minus `fitted`. */
  readonly residuals: Float64Array;
}

/** Fitted values at the level of the population and of the group, and residuals. */
export function fittedValues(model: MixedModel, fit: MixedFit): FittedValues | Refusal<'no-prediction'> {
  const states = groupStates(model, fit);
  if (states === null) return noPrediction();
  const { data, order, random, outer } = model;
  const population = Float64Array.from({ length: data.response.length }, (_, row) =>
    data.fixed.reduce(
      (sum, column, i) => sum + (column.values[row] ?? NaN) * (fit.coefficients[i] ?? NaN),
      0,
    ),
  );
  const fitted = population.slice();
  states.groups.forEach((state, g) => {
    const own = multiply(random.back, state.effects, random.size, random.size, 1);
    const outerState = states.outers[state.outer];
    const ofOuter =
      outer === null || outerState === undefined
        ? new Float64Array(0)
        : multiply(outer.back, outerState.effects, outer.size, outer.size, 1);
    for (let at = order.groupStart[g] ?? 0; at < (order.groupStart[g + 1] ?? 0); at++) {
      const row = order.rows[at] ?? 0;
      let sum = fitted[row] ?? NaN;
      data.random.columns.forEach((column, i) => (sum += (column.values[row] ?? NaN) * (own[i] ?? NaN)));
      data.outer?.columns.forEach((column, i) => (sum += (column.values[row] ?? NaN) * (ofOuter[i] ?? NaN)));
      fitted[row] = sum;
    }
  });
  return { population, fitted, residuals: fitted.map((value, i) => (data.response[i] ?? NaN) - value) };
}

/** The refusal of a level outside 0 to 1. */
export function wrongLevel(level: number): Refusal<'wrong-level'> {
  return refuse('wrong-level', `The level is ${level}; it must lie between 0 and 1, as 0.95.`);
}

/** The refusal where the equations can't be solved. */
export function noPrediction(): Refusal<'no-prediction'> {
  return refuse('no-prediction', 'The equations of the fit break down here; simplify the random effects.');
}
