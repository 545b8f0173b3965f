import type { CoxMaximum } from './newton';
import type { PartialLikelihood } from './partial-likelihood';
import { inverse } from './robust-covariance';

/** What is known of a coefficient where the search ended. */
export type CoefficientState = 'finite' | 'plus' | 'minus' | 'undetermined';

/** What the coefficients are, and an inverse of the information that holds for the finite ones and means nothing elsewhere. */
export interface FiniteCoefficients {
  readonly states: readonly CoefficientState[];
  readonly inverseInformation: Float64Array;
}

/** Added to the information, in units of that at zero, so that a singular one has an inverse. */
const RIDGE = 1e-9;
/** A variance this many times that at zero is one without limit. */
const WITHOUT_LIMIT = 1e6;

/**
 * Which coefficients are finite, and their covariance. Once some are infinite, only rows with the extreme values are
 * left in the risk sets; nothing may be left there that tells about another coefficient, which is then undetermined.
 * Differences between infinite coefficients may be finite (levels of a factor whose reference has no events), so the
 * information is inverted as a whole: along the infinite direction it is zero and the ridge alone stands there, which
 * does not reach the coefficients that have no part in that direction.
 */
export function finiteCoefficients(maximum: CoxMaximum, atZero: PartialLikelihood): FiniteCoefficients {
  const { direction, information } = maximum;
  const size = maximum.coefficients.length;
  if (direction === null) {
    return {
      states: Array.from({ length: size }, () => 'finite'),
      inverseInformation: inverse(information, size) ?? new Float64Array(size * size),
    };
  }
  const ridged = information.slice();
  for (let cell = 0; cell < ridged.length; cell += size + 1) {
    ridged[cell] = (ridged[cell] ?? 0) + RIDGE * (atZero.information[cell] ?? 0);
  }
  const inverted = inverse(ridged, size);
  const states = Array.from(direction, (part, j): CoefficientState => {
    if (part !== 0) return part > 0 ? 'plus' : 'minus';
    const cell = j * (size + 1);
    const times = (inverted?.[cell] ?? Infinity) * (atZero.information[cell] ?? 0);
    return times < WITHOUT_LIMIT ? 'finite' : 'undetermined';
  });
  return { states, inverseInformation: inverted ?? new Float64Array(size * size) };
}
