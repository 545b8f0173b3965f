import type { DesignMatrix } from '../../numeric';
import type { ErrorDistribution } from './error-distributions';
import { contribute, emptyContribution, type Contribution } from './interval-contribution';

/** Times and covariates of a regression in the form its likelihood wants. */
export interface TimeRegressionData {
  /** Logarithms of both ends; -Infinity and Infinity where open. */
  readonly logLeft: Float64Array;
  readonly logRight: Float64Array;
  readonly weight: Float64Array;
  readonly design: DesignMatrix;
}

/** The log-likelihood with its derivatives in some parameters: gradient, and minus the second derivatives, row by row. */
export interface TimeLikelihood {
  readonly value: number;
  readonly gradient: Float64Array;
  readonly information: Float64Array;
}

/**
 * The log-likelihood of log T = x'beta + sigma W in the parameters beta/sigma (one a column) and 1/sigma (last), in
 * which it is concave. Source: Burridge 1981; Olsen 1978 for the normal case.
 *
 * @param error density of W; log-concave
 * @param parameters `columns + 1` numbers
 * @param scaleKnown 1/sigma stays as it is; its row and column are those of a unit matrix
 */
export function concaveLikelihood(
  data: TimeRegressionData,
  error: ErrorDistribution,
  parameters: Float64Array,
  scaleKnown: boolean,
): TimeLikelihood {
  const { columns, values } = data.design;
  const size = columns + 1;
  const gradient = new Float64Array(size);
  const information = new Float64Array(size * size);
  const steepness = parameters[columns] ?? 1;
  const part = emptyContribution();
  let value = 0;
  for (let i = 0; i < data.weight.length; i++) {
    const weight = data.weight[i] ?? 0;
    if (weight === 0) continue;
    const row = i * columns;
    let centre = 0;
    for (let j = 0; j < columns; j++) centre += (values[row + j] ?? 0) * (parameters[j] ?? 0);
    const left = data.logLeft[i] ?? 0;
    const right = data.logRight[i] ?? 0;
    const exact = left === right;
    contribute(
      part,
      error,
      steepness * left - centre,
      steepness * right - centre,
      exact ? 0 : steepness * (right - left),
    );
    value += weight * (part.value + (exact ? Math.log(steepness) - right : 0));
    const mean = weight * part.together;
    const meanCurve = -weight * (part.togetherLow + part.togetherHigh);
    const low = left === -Infinity ? 0 : left;
    const high = right === Infinity ? 0 : right;
    const cross = -weight * (low * part.togetherLow + high * part.togetherHigh);
    for (let j = 0; j < columns; j++) {
      const x = values[row + j] ?? 0;
      if (x === 0) continue;
      gradient[j] = (gradient[j] ?? 0) - mean * x;
      for (let k = 0; k <= j; k++) {
        const at = j * size + k;
        information[at] = (information[at] ?? 0) + meanCurve * x * (values[row + k] ?? 0);
      }
      const at = columns * size + j;
      information[at] = (information[at] ?? 0) - cross * x;
    }
    if (scaleKnown) continue;
    const square = squareOf(part, low, high);
    const last = size * size - 1;
    gradient[columns] =
      (gradient[columns] ?? 0) +
      weight * (low * part.together + (high - low) * part.atHigh + (exact ? 1 / steepness : 0));
    information[last] = (information[last] ?? 0) - weight * (square - (exact ? 1 / steepness ** 2 : 0));
  }
  if (scaleKnown) {
    information.fill(0, columns * size, size * size);
    information[size * size - 1] = 1;
  }
  for (let j = 0; j < size; j++) {
    for (let k = 0; k < j; k++) information[k * size + j] = information[j * size + k] ?? 0;
  }
  return { value, gradient, information };
}

/** Second derivative when each end moves by its own value. */
function squareOf(part: Contribution, low: number, high: number): number {
  return low * low * part.togetherLow + high * high * part.togetherHigh - part.lowHigh * (high - low) ** 2;
}

/** As `TimeLikelihood`, with the derivative of each observation's own log-likelihood, row by row, for robust variances. */
export interface ScoredLikelihood extends TimeLikelihood {
  readonly scores: Float64Array;
}

/**
 * The log-likelihood with its derivatives in beta and log sigma (last, left out where the scale is known), and the
 * weighted score of each observation.
 */
export function likelihoodInCoefficients(
  data: TimeRegressionData,
  error: ErrorDistribution,
  coefficients: Float64Array,
  scale: number,
  scaleKnown: boolean,
): ScoredLikelihood {
  const { columns, values } = data.design;
  const size = scaleKnown ? columns : columns + 1;
  const gradient = new Float64Array(size);
  const information = new Float64Array(size * size);
  const scores = new Float64Array(size * data.weight.length);
  const part = emptyContribution();
  const inner = new Float64Array(size);
  let value = 0;
  for (let i = 0; i < data.weight.length; i++) {
    const weight = data.weight[i] ?? 0;
    if (weight === 0) continue;
    let centre = 0;
    for (let j = 0; j < columns; j++) {
      inner[j] = (values[i * columns + j] ?? 0) / scale;
      centre += (values[i * columns + j] ?? 0) * (coefficients[j] ?? 0);
    }
    const left = data.logLeft[i] ?? 0;
    const right = data.logRight[i] ?? 0;
    const exact = left === right;
    const zLow = (left - centre) / scale;
    const zHigh = (right - centre) / scale;
    contribute(part, error, zLow, zHigh, exact ? 0 : (right - left) / scale);
    value += weight * (part.value - (exact ? Math.log(scale) + right : 0));
    const low = Number.isFinite(zLow) ? zLow : 0;
    const high = Number.isFinite(zHigh) ? zHigh : 0;
    const inMean = part.together;
    const inScale = low * part.together + (high - low) * part.atHigh;
    const curve = part.togetherLow + part.togetherHigh;
    const cross = low * part.togetherLow + high * part.togetherHigh;
    const square = squareOf(part, low, high);
    for (let j = 0; j < size; j++) {
      const isScale = j === columns;
      const first = isScale ? -inScale - (exact ? 1 : 0) : -inMean * (inner[j] ?? 0);
      scores[i * size + j] = weight * first;
      gradient[j] = (gradient[j] ?? 0) + weight * first;
      for (let k = 0; k <= j; k++) {
        const second = isScale
          ? k === columns
            ? square + inScale
            : (cross + inMean) * (inner[k] ?? 0)
          : curve * (inner[j] ?? 0) * (inner[k] ?? 0);
        information[j * size + k] = (information[j * size + k] ?? 0) - weight * second;
      }
    }
  }
  for (let j = 0; j < size; j++) {
    for (let k = 0; k < j; k++) information[k * size + j] = information[j * size + k] ?? 0;
  }
  return { value, gradient, information, scores };
}
