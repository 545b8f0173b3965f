import { cholesky, solveLower, solveUpper } from '../../numeric';
import type { CoxRows } from './cox-rows';
import { monotoneDirection } from './monotone-likelihood';
import { partialLikelihood, type PartialLikelihood } from './partial-likelihood';
import type { CoxTies } from './risk-sets';

/** Where the partial likelihood is highest. */
export interface CoxMaximum extends PartialLikelihood {
  /** On the scale of the standardised covariates. */
  readonly coefficients: Float64Array;
  readonly iterations: number;
  readonly converged: boolean;
  /**
   * Where the likelihood only rises along a direction (monotone likelihood): that direction, and the other fields
   * tell the place at which the search stopped, as high as the likelihood gets to within about 1e-10. Else null.
   */
  readonly direction: Float64Array | null;
}

const MAXIMUM_ITERATIONS = 200;
const MAXIMUM_HALVINGS = 40;
/** The squared length of a Newton step in units of standard errors. The step after it is right to some 1e-12. */
const SMALL_STEP = 1e-12;
/** From here on a step that is still long (in standard deviations of covariates) is one towards infinity. */
const SUSPECT_STEP = 1e-7;
const LONG_STEP = 0.02;

/**
 * Maximises the partial likelihood by Newton's method with step halving; it is concave, so a maximum is the maximum.
 * Source: Therneau and Grambsch 2000, section 3.1; for the direction see `monotoneDirection`.
 *
 * @param held one coefficient to be kept where it is (a profile), or null
 * @param atStart the likelihood at the start, where it is known already
 */
export function maximisePartialLikelihood(
  rows: CoxRows,
  ties: CoxTies,
  start: Float64Array,
  held: number | null = null,
  atStart: PartialLikelihood = partialLikelihood(rows, start, ties),
): CoxMaximum {
  let coefficients: Float64Array = start.slice();
  let at = atStart;
  let direction: Float64Array | null = null;
  for (let iterations = 0; iterations < MAXIMUM_ITERATIONS; iterations++) {
    const step = newtonStep(at, held);
    let squaredLength = 0;
    for (let j = 0; j < step.length; j++) squaredLength += (step[j] ?? 0) * (at.score[j] ?? 0);
    const longest = step.reduce((most, part) => Math.max(most, Math.abs(part)), 0);
    if (direction === null && squaredLength < SUSPECT_STEP && longest > LONG_STEP) {
      direction = monotoneDirection(rows, step);
    }
    const finished = squaredLength < SMALL_STEP;
    const next = halvedUntilHigher(rows, ties, coefficients, step, at);
    if (next === null) {
      return { ...at, coefficients, iterations, converged: finished, direction };
    }
    coefficients = next.coefficients;
    at = next.at;
    if (finished) return { ...at, coefficients, iterations: iterations + 1, converged: true, direction };
  }
  return { ...at, coefficients, iterations: MAXIMUM_ITERATIONS, converged: false, direction };
}

function halvedUntilHigher(
  rows: CoxRows,
  ties: CoxTies,
  from: Float64Array,
  step: Float64Array,
  before: PartialLikelihood,
): { coefficients: Float64Array; at: PartialLikelihood } | null {
  // The rounding of a sum of many logarithms; a fall within it is none.
  const rounding = 1e-12 * (1 + Math.abs(before.logLikelihood));
  for (let halving = 0, share = 1; halving < MAXIMUM_HALVINGS; halving++, share /= 2) {
    const coefficients = from.map((value, j) => value + share * (step[j] ?? 0));
    const at = partialLikelihood(rows, coefficients, ties);
    if (at.logLikelihood >= before.logLikelihood - rounding) return { coefficients, at };
  }
  return null;
}

/** The Newton step; with a ridge where the information is singular to working precision, so that it still rises. */
function newtonStep({ score, information }: PartialLikelihood, held: number | null): Float64Array {
  const size = score.length;
  const matrix = information.slice();
  const gradient = score.slice();
  if (held !== null) {
    for (let j = 0; j < size; j++) matrix[held * size + j] = matrix[j * size + held] = 0;
    matrix[held * size + held] = 1;
    gradient[held] = 0;
  }
  let trace = 0;
  for (let j = 0; j < size; j++) trace += Math.abs(matrix[j * size + j] ?? 0);
  for (let ridge = 0; ; ridge = ridge === 0 ? 1e-12 * trace + 1e-300 : ridge * 100) {
    for (let j = 0; j < size; j++) {
      matrix[j * size + j] = (information[j * size + j] ?? 0) + ridge;
    }
    if (held !== null) matrix[held * size + held] = 1;
    const factor = cholesky(matrix, size);
    if (factor !== null) return solveUpper(factor, size, solveLower(factor, size, gradient));
    if (!(ridge < 1e6 * (trace + 1))) return new Float64Array(size);
  }
}
