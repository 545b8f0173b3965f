import { checkColumn, refuse, type Refusal } from '../numeric';
import type { GroupStates } from './group-states';
import type { MixedFit } from './linear-mixed-model';
import type { MixedModel } from './mixed-model';
import { IN_RANGE } from './model-data';
import { multiplierOf, predictionUncertainty, type PredictionUncertainty } from './prediction-errors';
import { noPrediction, wrongLevel } from './predictions';
import { multiply, sandwich, transpose } from './small-matrices';

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
  /** Root of the mean squared error of prediction, value minus true mean, with the variances estimated. */
  readonly standardError: number;
  /** Its degrees of freedom; null: normal. */
  readonly df: number | null;
  /** Limits of the true mean, Student's t on `df`. */
  readonly lower: number;
  readonly upper: number;
  /** Limits of a new response of weight 1 there. */
  readonly responseLower: number;
  readonly responseUpper: number;
}

/**
 * Predicts the mean of groups, x b + z u (+ c v), at given columns; for a group not seen from the fixed effects,
 * with the variance between groups in its error. Sources: Henderson 1975; Robinson 1991; limits as
 * `predictionUncertainty`.
 */
export function predictMeans(
  model: MixedModel,
  fit: MixedFit,
  rows: readonly PredictionRow[],
  level = 0.95,
): readonly PredictedMean[] | PredictionRefusal {
  if (!(level > 0 && level < 1)) return wrongLevel(level);
  const placed: PlacedRow[] = [];
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
    placed.push({ row, ...place });
  }
  // First all means, then new responses at the same places.
  const uncertainty = predictionUncertainty(model, fit, (states) => {
    const found = placed.map((place) => meanOf(model, states, place));
    return {
      values: Float64Array.from([...found, ...found], ({ value }) => value),
      relativeVariances: Float64Array.from([
        ...found.map(({ relative }) => relative),
        ...found.map(({ relative }) => relative + 1),
      ]),
    };
  });
  if (uncertainty === null) return noPrediction();
  return placed.map((_, i) => {
    const mean = uncertainty[i] ?? NOTHING;
    const response = uncertainty[placed.length + i] ?? NOTHING;
    const margin = multiplierOf(level, mean.df) * mean.error;
    const wide = multiplierOf(level, response.df) * response.error;
    return {
      value: mean.value,
      standardError: mean.error,
      df: mean.df,
      lower: mean.value - margin,
      upper: mean.value + margin,
      responseLower: mean.value - wide,
      responseUpper: mean.value + wide,
    };
  });
}

const NOTHING: PredictionUncertainty = { value: NaN, error: NaN, df: null };

/** Why means could not be predicted. */
export type PredictionRefusal = Refusal<
  'wrong-level' | 'no-prediction' | 'wrong-length' | 'wrong-value' | 'unknown-group'
>;

/** A row with the numbers of its group and outer group; -1 for one not seen. */
interface PlacedRow {
  readonly row: PredictionRow;
  readonly group: number;
  readonly outer: number;
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
  states: GroupStates,
  { row, ...place }: PlacedRow,
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
  let value = dot(
    onQ,
    model.leastSquares.map((entry, i) => entry + (states.value.shift[i] ?? NaN)),
  );
  let relative = 0;
  let onOuter = c;
  if (group === undefined) {
    relative += quadratic(z, sandwich(states.factors.random, unit(q), q, q), q);
  } else {
    value += dot(z, group.effects);
    subtract(onQ, multiply(z, group.pull, 1, q, p));
    relative += quadratic(z, group.spread, q);
    const share = multiply(z, group.share, 1, q, r);
    onOuter = c.map((entry, i) => entry - (share[i] ?? 0));
  }
  if (outer === undefined) {
    if (r > 0) relative += quadratic(c, sandwich(states.factors.outer, unit(r), r, r), r);
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
