import { cholesky, refuse, solveLower, solveUpper, type Refusal } from '../../numeric';
import type { ErrorDistribution } from './error-distributions';
import { coefficientsBack, type OrthogonalDesign } from './time-design';
import {
  concaveLikelihood,
  likelihoodInCoefficients,
  type ScoredLikelihood,
  type TimeLikelihood,
  type TimeRegressionData,
} from './time-likelihood';

/** The likelihood rises without end. */
export type NoMaximum = Refusal<'no-maximum' | 'scale-zero'>;

/** Times with a design in which no digits are lost. */
export interface OrthogonalData extends TimeRegressionData {
  readonly design: OrthogonalDesign;
}

/** The maximum of the likelihood of a regression of log times, in the turned columns. */
export interface TimeMaximum extends ScoredLikelihood {
  readonly coefficients: Float64Array;
  readonly scale: number;
  /** Number of free parameters, and the Cholesky factor of the information in them. */
  readonly size: number;
  readonly factor: Float64Array;
  readonly iterations: number;
}

const MOST_ITERATIONS = 200;
/** A rise in the log-likelihood too small to see, relative. */
const NO_RISE = 1e-13;
/** The largest change of a standardised time in a Newton step that counts as standing still. */
const STANDING_STILL = 1e-5;
/** 1/sigma times the spread of log times: beyond this the times are as good as equal. */
const STEEPEST = 1e7;

/**
 * Newton's method with halving in the concave parameters beta/sigma and 1/sigma. Where observations are separated by
 * the covariates the likelihood flattens out but the steps do not shrink, which tells it from a maximum.
 */
export function maximumInCoefficients(
  data: OrthogonalData,
  error: ErrorDistribution,
  scaleKnown: boolean,
): TimeMaximum | NoMaximum {
  const columns = data.design.columns;
  let parameters = startOf(data, error, scaleKnown);
  if (parameters === null) return scaleZero();
  let here = concaveLikelihood(data, error, parameters, scaleKnown);
  let last: Float64Array | null = null;
  for (let iterations = 1; iterations <= MOST_ITERATIONS; iterations++) {
    const step = newtonStep(here, columns + 1);
    if (step === null) return noMaximum(data, last);
    last = step;
    let rise = 0;
    for (let j = 0; j <= columns; j++) rise += ((step[j] ?? 0) * (here.gradient[j] ?? 0)) / 2;
    const reach = reachOf(data, step);
    const next = along(data, error, parameters, step, here, scaleKnown, rise);
    if (next !== null) ({ parameters, here } = next);
    if ((parameters[columns] ?? 1) > STEEPEST) return scaleZero();
    const flat = rise <= NO_RISE * (1 + Math.abs(here.value));
    if (flat && reach <= STANDING_STILL) return finish(data, error, parameters, scaleKnown, iterations);
    if (next === null || (flat && iterations >= MOST_ITERATIONS / 2)) return noMaximum(data, step);
  }
  return noMaximum(data, last);
}

function newtonStep({ gradient, information }: TimeLikelihood, size: number): Float64Array | null {
  const factor = cholesky(information, size);
  return factor === null ? null : solveUpper(factor, size, solveLower(factor, size, gradient.slice()));
}

/** The first of ever shorter steps on which the likelihood does not fall; null when there is none. */
function along(
  data: TimeRegressionData,
  error: ErrorDistribution,
  parameters: Float64Array,
  step: Float64Array,
  here: TimeLikelihood,
  scaleKnown: boolean,
  rise: number,
): { parameters: Float64Array; here: TimeLikelihood } | null {
  const rounding = 64 * Number.EPSILON * (1 + Math.abs(here.value));
  const allowed = rise < 1e3 * rounding ? rounding : 0;
  for (let length = 1; length > 1e-9; length /= 2) {
    const trial = parameters.map((value, j) => value + length * (step[j] ?? 0));
    if (!((trial[trial.length - 1] ?? 0) > 0)) continue;
    const place = concaveLikelihood(data, error, trial, scaleKnown);
    if (place.value >= here.value - allowed) return { parameters: trial, here: place };
  }
  return null;
}

/** By how much the step moves the standardised end of any observation at most. */
function reachOf({ design, logLeft, logRight }: TimeRegressionData, step: Float64Array): number {
  const { columns, values, rows } = design;
  let largest = 0;
  for (let i = 0; i < rows; i++) {
    let move = 0;
    for (let j = 0; j < columns; j++) move += (values[i * columns + j] ?? 0) * (step[j] ?? 0);
    for (const end of [logLeft[i] ?? 0, logRight[i] ?? 0]) {
      if (Number.isFinite(end)) largest = Math.max(largest, Math.abs(end * (step[columns] ?? 0) - move));
    }
  }
  return largest;
}

/** Least squares on the logarithms of middles of intervals. Null where those leave no scatter at all. */
function startOf(
  data: TimeRegressionData,
  error: ErrorDistribution,
  scaleKnown: boolean,
): Float64Array | null {
  const { logLeft, logRight, weight, design } = data;
  const { columns, values } = design;
  const middle = Float64Array.from(logLeft, (left, i) => {
    const right = logRight[i] ?? Infinity;
    if (right === Infinity) return left === -Infinity ? 0 : left;
    return left === -Infinity ? right - Math.LN2 : (left + right) / 2;
  });
  const products = new Float64Array(columns * columns);
  const sums = new Float64Array(columns);
  let total = 0;
  for (let i = 0; i < weight.length; i++) {
    const w = weight[i] ?? 0;
    total += w;
    for (let j = 0; j < columns; j++) {
      const x = w * (values[i * columns + j] ?? 0);
      sums[j] = (sums[j] ?? 0) + x * (middle[i] ?? 0);
      for (let k = 0; k < columns; k++) {
        products[j * columns + k] = (products[j * columns + k] ?? 0) + x * (values[i * columns + k] ?? 0);
      }
    }
  }
  const factor = cholesky(products, columns);
  const beta =
    factor === null ? sums.fill(0) : solveUpper(factor, columns, solveLower(factor, columns, sums));
  let squares = 0;
  for (let i = 0; i < weight.length; i++) {
    let residual = middle[i] ?? 0;
    for (let j = 0; j < columns; j++) residual -= (values[i * columns + j] ?? 0) * (beta[j] ?? 0);
    squares += (weight[i] ?? 0) * residual * residual;
  }
  const scatter = Math.sqrt(squares / total);
  if (scaleKnown) beta[0] = (beta[0] ?? 0) - error.mean;
  const allExact = logLeft.every((left, i) => left === logRight[i] || weight[i] === 0);
  if (!scaleKnown && allExact && !(scatter > 1 / STEEPEST)) return null;
  const steepness = scaleKnown ? 1 : 1 / Math.max(scatter, 0.05);
  return Float64Array.from([...beta, 1], (value) => value * steepness);
}

function finish(
  data: OrthogonalData,
  error: ErrorDistribution,
  parameters: Float64Array,
  scaleKnown: boolean,
  iterations: number,
): TimeMaximum | NoMaximum {
  const columns = data.design.columns;
  const scale = 1 / (parameters[columns] ?? 1);
  const coefficients = parameters.slice(0, columns).map((value) => value * scale);
  const likelihood = likelihoodInCoefficients(data, error, coefficients, scale, scaleKnown);
  const size = scaleKnown ? columns : columns + 1;
  const factor = cholesky(likelihood.information, size);
  if (factor === null) return noMaximum(data, null);
  return { ...likelihood, coefficients, scale, size, factor, iterations };
}

function noMaximum({ design }: OrthogonalData, step: Float64Array | null): NoMaximum {
  const growth = step === null ? [] : growthOf(design, step);
  const runaway = growth.reduce(
    (best, value, j) => (value > (growth[best] ?? 0) ? j : best),
    step === null ? -1 : 0,
  );
  if (runaway === design.columns || design.terms.length === 0) {
    return refuse(
      'no-maximum',
      'The likelihood rises for ever as the inverse of the scale grows: but for the covariates all times could be the ' +
        'same. Times that lie apart by more than their intervals are needed.',
    );
  }
  const name = design.names[runaway];
  const which = name === undefined ? 'a coefficient grows' : `${name} grows`;
  return refuse(
    'no-maximum',
    `The likelihood rises for ever as ${which}: the covariates separate those seen with the event from the others. ` +
      'Every level of a factor needs events seen after its patients were seen without.',
  );
}

/**
 * How far a step moves each coefficient and, last, 1/sigma, were numeric covariates centred and in their own spread. The
 * intercept moves along with most others, so it counts a thousandth.
 */
function growthOf(design: OrthogonalDesign, step: Float64Array): number[] {
  const { columns, spread, centre } = design;
  const given = coefficientsBack(design, step);
  const intercept = given.reduce((sum, value, j) => sum + value * (centre[j] ?? 0), given[0] ?? 0);
  const growth = Array.from(given, (value, j) => Math.abs(value) * (spread[j] ?? 1));
  return [Math.abs(intercept) / 1000, ...growth.slice(1), Math.abs(step[columns] ?? 0)];
}

function scaleZero(): NoMaximum {
  return refuse(
    'scale-zero',
    'The likelihood rises for ever as the scale goes to 0: the covariates fit the times without any scatter. ' +
      'More patients than coefficients, with different times, are needed.',
  );
}
