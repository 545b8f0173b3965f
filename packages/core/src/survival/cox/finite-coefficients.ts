import type { CoxMaximum } from './newton';
import type { PartialLikelihood } from './partial-likelihood';
import { inverse } from './robust-covariance';

/** What is known of a coefficient where the search ended. */
export type CoefficientState = 'finite' | 'plus' | 'minus' | 'undetermined';

/** Added to the information, in units of that at zero, so that a singular one has an inverse. */
const RIDGE = 1e-9;
/** A variance this many times that at zero is one without limit. */
const WITHOUT_LIMIT = 1e6;

/**
 * Which coefficients are finite. Once some are infinite, only those with the extreme values are left in the risk
 * sets, and nothing may be left there that tells about another: that one is undetermined.
 */
export function coefficientStates(maximum: CoxMaximum, atZero: PartialLikelihood): CoefficientState[] {
  const { direction, information, coefficients } = maximum;
  const size = coefficients.length;
  if (direction === null) return Array.from(coefficients, () => 'finite');
  const kept = Array.from(coefficients.keys()).filter((j) => direction[j] === 0);
  const ridged = block(information, size, kept);
  kept.forEach((j, k) => {
    const cell = k * kept.length + k;
    ridged[cell] = (ridged[cell] ?? 0) + RIDGE * (atZero.information[j * size + j] ?? 0);
  });
  const variances = inverse(ridged, kept.length);
  return Array.from(direction, (part, j) => {
    if (part !== 0) return part > 0 ? 'plus' : 'minus';
    const k = kept.indexOf(j);
    const times = (variances?.[k * kept.length + k] ?? Infinity) * (atZero.information[j * size + j] ?? 0);
    return times < WITHOUT_LIMIT ? 'finite' : 'undetermined';
  });
}

/** Inverse of the information of the finite coefficients, with zeros in the rows and columns of the others. */
export function finiteInverse(
  { information }: CoxMaximum,
  states: readonly CoefficientState[],
): Float64Array {
  const size = states.length;
  const kept = Array.from(states.keys()).filter((j) => states[j] === 'finite');
  const inverted = inverse(block(information, size, kept), kept.length);
  const full = new Float64Array(size * size);
  kept.forEach((row, r) => {
    kept.forEach((column, c) => (full[row * size + column] = inverted?.[r * kept.length + c] ?? 0));
  });
  return full;
}

function block(matrix: Float64Array, size: number, kept: readonly number[]): Float64Array {
  const part = new Float64Array(kept.length * kept.length);
  kept.forEach((row, r) => {
    kept.forEach((column, c) => (part[r * kept.length + c] = matrix[row * size + column] ?? 0));
  });
  return part;
}
