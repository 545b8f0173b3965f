import { checkColumn, refuse, twoSidedNormal, type Refusal } from '../numeric';
import { groupStates, type GroupStates } from './group-states';
import type { MixedFit } from './linear-mixed-model';
import type { MixedModel, TermBasis } from './mixed-model';
import { IN_RANGE } from './model-data';
import { multiply, sandwich, transpose } from './small-matrices';

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
  /** Normal limits from the standard errors of prediction. */
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
 * Sources: Henderson 1975; Robinson 1991.
 */
export function predictRandomEffects(
  model: MixedModel,
  fit: MixedFit,
  level = 0.95,
): RandomEffects | Refusal<'wrong-level' | 'no-prediction'> {
  if (!(level > 0 && level < 1)) return wrongLevel(level);
  const states = groupStates(model, fit);
  if (states === null) return noPrediction();
  const { order, random, outer } = model;
  const margin = twoSidedNormal(level) * fit.residualSd;
  const { p } = model.products;
  const information = states.value.inverseInformation;
  const shown = (
    basis: TermBasis,
    effects: Float64Array,
    spread: Float64Array,
    pull: Float64Array,
  ): Omit<PredictedEffects, 'label' | 'outerLabel'> => {
    const { size, back } = basis;
    const own = Array.from(multiply(back, effects, size, size, 1));
    const given = sandwich(back, spread, size, size);
    const error = sandwich(multiply(back, pull, size, size, p), information, size, p);
    const root = (i: number, extra: number): number => Math.sqrt((given[i * size + i] ?? NaN) + extra);
    const relative = own.map((_, i) => root(i, error[i * size + i] ?? NaN));
    return {
      effects: own,
      conditionalSds: own.map((_, i) => fit.residualSd * root(i, 0)),
      predictionErrors: relative.map((entry) => fit.residualSd * entry),
      lower: own.map((entry, i) => entry - margin * (relative[i] ?? NaN)),
      upper: own.map((entry, i) => entry + margin * (relative[i] ?? NaN)),
    };
  };
  return {
    groups: states.groups.map((state, g) => ({
      label: order.groupLabels[g] ?? '',
      outerLabel: order.outerLabels[state.outer] ?? null,
      ...shown(random, state.effects, spreadOfGroup(model, states, g), state.pull),
    })),
    outerGroups:
      outer === null
        ? []
        : states.outers.map((state, o) => ({
            label: order.outerLabels[o] ?? '',
            outerLabel: null,
            ...shown(outer, state.effects, state.spread, state.pull),
          })),
  };
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

/** A place at which the mean of a group is wanted. */
export interface PredictionRow {
  /** The group; null for one not seen, drawn from the same population. */
  readonly label: string | number | null;
  /** The outer group, where the model has them; null for one not seen. */
  readonly outerLabel?: string | number | null;
  /** Values of the fixed-effect, random-effect and outer random-effect columns. */
  readonly fixed: readonly number[];
  readonly random: readonly number[];
  readonly outer?: readonly number[];
}

/** The mean of a group at a place. */
export interface PredictedMean {
  readonly value: number;
  /** Standard error of prediction, value minus true mean; variances taken as known. */
  readonly standardError: number;
  /** Normal limits of the true mean. */
  readonly lower: number;
  readonly upper: number;
  /** Normal limits of a new response of weight 1 there. */
  readonly responseLower: number;
  readonly responseUpper: number;
}

/**
 * Predicts the mean of groups, x b + z u (+ c v), at given columns; for a group not seen from the fixed effects,
 * with the variance between groups in its error. Sources: Henderson 1975; Robinson 1991.
 */
export function predictMeans(
  model: MixedModel,
  fit: MixedFit,
  rows: readonly PredictionRow[],
  level = 0.95,
):
  | readonly PredictedMean[]
  | Refusal<'wrong-level' | 'no-prediction' | 'wrong-length' | 'wrong-value' | 'unknown-group'> {
  if (!(level > 0 && level < 1)) return wrongLevel(level);
  const states = groupStates(model, fit);
  if (states === null) return noPrediction();
  const margin = twoSidedNormal(level);
  const predicted: PredictedMean[] = [];
  for (const [i, row] of rows.entries()) {
    const fault =
      checkColumn(`rows[${i}].fixed`, row.fixed, IN_RANGE, model.products.p) ??
      checkColumn(`rows[${i}].random`, row.random, IN_RANGE, model.products.q) ??
      checkColumn(`rows[${i}].outer`, row.outer ?? [], IN_RANGE, model.products.r);
    if (fault !== null) return fault;
    const place = placeOf(model, row);
    if (place === null) {
      return refuse(
        'unknown-group',
        `rows[${i}]: the data have no such group; give null for a group not seen.`,
      );
    }
    const { value, relative } = meanOf(model, fit, states, row, place);
    const standardError = fit.residualSd * Math.sqrt(relative);
    const spread = Math.hypot(standardError, fit.residualSd);
    predicted.push({
      value,
      standardError,
      lower: value - margin * standardError,
      upper: value + margin * standardError,
      responseLower: value - margin * spread,
      responseUpper: value + margin * spread,
    });
  }
  return predicted;
}

/** Numbers of a row's group and outer group; -1 for one not seen. Null where a label is not in the data. */
function placeOf(model: MixedModel, row: PredictionRow): { group: number; outer: number } | null {
  const { groupLabels, outerLabels, outerStart } = model.order;
  const outer = row.outerLabel == null ? -1 : outerLabels.indexOf(row.outerLabel);
  if (row.outerLabel != null && outer === -1) return null;
  if (row.label === null) return { group: -1, outer };
  // A group is known within its outer group only.
  if (model.outer !== null && outer === -1) return null;
  const from = model.outer === null ? 0 : (outerStart[outer] ?? 0);
  const to = model.outer === null ? groupLabels.length : (outerStart[outer + 1] ?? 0);
  const group = groupLabels.slice(from, to).indexOf(row.label);
  return group === -1 ? null : { group: from + group, outer };
}

function meanOf(
  model: MixedModel,
  fit: MixedFit,
  states: GroupStates,
  row: PredictionRow,
  place: { readonly group: number; readonly outer: number },
): { value: number; relative: number } {
  const { p, q, r } = model.products;
  const group = states.groups[place.group];
  const outer = states.outers[place.outer];
  const z = multiply(Float64Array.from(row.random), model.random.back, 1, q, q);
  const c =
    model.outer === null
      ? new Float64Array(0)
      : multiply(Float64Array.from(row.outer ?? []), model.outer.back, 1, r, r);
  // How the error moves with the coefficients on Q, and with the outer effects.
  const onQ = multiply(Float64Array.from(row.fixed), model.inverseTriangle, 1, p, p);
  let value = row.fixed.reduce((sum, entry, i) => sum + entry * (fit.coefficients[i] ?? NaN), 0);
  let relative = 0;
  let onOuter = c;
  if (group === undefined) {
    relative += quadratic(z, sandwich(fit.factors.random, unit(q), q, q), q);
  } else {
    value += dot(z, group.effects);
    subtract(onQ, multiply(z, group.pull, 1, q, p));
    relative += quadratic(z, group.spread, q);
    const share = multiply(z, group.share, 1, q, r);
    onOuter = c.map((entry, i) => entry - (share[i] ?? 0));
  }
  if (outer === undefined) {
    if (r > 0) relative += quadratic(c, sandwich(fit.factors.outer, unit(r), r, r), r);
  } else {
    value += dot(c, outer.effects);
    subtract(onQ, multiply(c, outer.pull, 1, r, p));
    relative += quadratic(onOuter, outer.spread, r);
  }
  return { value, relative: relative + quadratic(onQ, states.value.inverseInformation, p) };
}

function quadratic(vector: Float64Array, matrix: Float64Array, size: number): number {
  return multiply(multiply(vector, matrix, 1, size, size), transpose(vector, 1, size), 1, size, 1)[0] ?? NaN;
}

function unit(size: number): Float64Array {
  const matrix = new Float64Array(size * size);
  for (let i = 0; i < size; i++) matrix[i * size + i] = 1;
  return matrix;
}

function dot(left: Float64Array, right: Float64Array): number {
  return left.reduce((sum, entry, i) => sum + entry * (right[i] ?? 0), 0);
}

function subtract(target: Float64Array, amount: Float64Array): void {
  for (let i = 0; i < target.length; i++) target[i] = (target[i] ?? 0) - (amount[i] ?? 0);
}

function wrongLevel(level: number): Refusal<'wrong-level'> {
  return refuse('wrong-level', `The level is ${level}; it must lie between 0 and 1, as 0.95.`);
}

function noPrediction(): Refusal<'no-prediction'> {
  return refuse('no-prediction', 'The equations of the fit break down here; simplify the random effects.');
}
