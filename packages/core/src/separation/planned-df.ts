import { symmetricEigen, type RandomStructure } from '../mixed';
import { bilinear } from '../numeric';
import type { DesignInformation } from './design-information';
import { inverseInformation } from './patient-information';
import type { Covariance } from './two-part-model';

/** Degrees of freedom that the parts of a planned study are expected to have. */
export interface PlannedDf {
  readonly lasting: number;
  readonly passing: number;
}

/** Directions of the variances' information below this share of the largest, each scaled to 1, count as not estimated. */
const FLAT = 1e-8;

/**
 * Satterthwaite's degrees of freedom of T and S that a study of so many patients is expected to have, 2 v^2 / var(v).
 * v is the variance of the part at the planned variances, its first derivatives are those of (X' V^-1 X)^-1, and the
 * variances are known as well as the expected information of the restricted likelihood says, tr(P V_k P V_l) / 2 with
 * P = V^-1 - V^-1 X (X' V^-1 X)^-1 X' V^-1. An answer takes the observed information at its own variances instead, so its
 * degrees of freedom scatter around these. Where all patients have the same visits this is exactly n - 1: T and S are
 * then means of the patients' own least squares lines.
 * Sources: Satterthwaite 1946; Giesbrecht and Burns 1985; Patterson and Thompson 1971, from memory.
 *
 * @param one what one patient of the design is expected to tell
 * @param structure `diagonal`: u and w uncorrelated, so that their covariance is not estimated
 * @returns null where T and S, or their variances, cannot be told from such visits
 */
export function plannedDf(
  one: DesignInformation,
  patients: number,
  structure: RandomStructure,
): PlannedDf | null {
  const inverse = inverseInformation(one.parts);
  if (inverse === null) return null;
  const estimated = one.slopes.map((_, k) => k).filter((k) => structure === 'full' || k !== 1);
  const size = estimated.length;
  const information = new Float64Array(size * size);
  for (const { k, l, trace, product } of one.pairs) {
    const [row, column] = [estimated.indexOf(k), estimated.indexOf(l)];
    if (row === -1 || column === -1) continue;
    const lost = 2 * traceOf(inverse, product) - traceOfFour(inverse, one.slopes[k], one.slopes[l]);
    const entry = (patients * trace - lost) / 2;
    information[row * size + column] = entry;
    information[column * size + row] = entry;
  }
  const covariance = pseudoInverse(information, size);
  const slopes = estimated.map((k) => between(inverse, one.slopes[k]));
  // v and its slopes both fall with the number of patients, which cancels.
  const dfOf = (variance: number, slope: readonly number[]): number =>
    (2 * variance ** 2) / bilinear(slope, covariance, slope);
  const df = {
    lasting: dfOf(
      inverse.lasting,
      slopes.map(({ lasting }) => lasting),
    ),
    passing: dfOf(
      inverse.passing,
      slopes.map(({ passing }) => passing),
    ),
  };
  return df.lasting > 0 && df.passing > 0 ? df : null;
}

/** tr(A B) of symmetric matrices. */
function traceOf(a: Covariance, b: Covariance): number {
  return a.lasting * b.lasting + 2 * a.both * b.both + a.passing * b.passing;
}

/** tr(C A C B) of symmetric matrices. */
function traceOfFour(c: Covariance, a: Covariance | undefined, b: Covariance | undefined): number {
  return b === undefined ? NaN : traceOf(between(c, a), b);
}

/** C A C of symmetric matrices. */
function between(c: Covariance, a: Covariance | undefined): Covariance {
  if (a === undefined) return { lasting: NaN, both: NaN, passing: NaN };
  // Rows of C A.
  const [p, q] = [c.lasting * a.lasting + c.both * a.both, c.lasting * a.both + c.both * a.passing];
  const [r, s] = [c.both * a.lasting + c.passing * a.both, c.both * a.both + c.passing * a.passing];
  return {
    lasting: p * c.lasting + q * c.both,
    both: p * c.both + q * c.passing,
    passing: r * c.both + s * c.passing,
  };
}

/** The inverse on what the data tell; what they do not tell adds nothing. */
function pseudoInverse(matrix: Float64Array, size: number): Float64Array {
  const scale = Array.from({ length: size }, (_, i) => 1 / Math.sqrt(matrix[i * size + i] ?? NaN));
  const scaled = matrix.map(
    (entry, at) => entry * (scale[Math.floor(at / size)] ?? NaN) * (scale[at % size] ?? NaN),
  );
  const { values, vectors } = symmetricEigen(scaled, size);
  const largest = values[size - 1] ?? NaN;
  return Float64Array.from({ length: size * size }, (_, at) => {
    const [i, j] = [Math.floor(at / size), at % size];
    const sum = values.reduce((total, value, k) => {
      const vector = vectors[k] ?? [];
      return value > FLAT * largest ? total + ((vector[i] ?? NaN) * (vector[j] ?? NaN)) / value : total;
    }, 0);
    return sum * (scale[i] ?? NaN) * (scale[j] ?? NaN);
  });
}
