import { cholesky, type RandomStream } from '../numeric';
import type { GrowthReference } from './reference';

/** One possible error of a reference: what would have to be added to its coefficients, in the order of `combinationRow`. */
export type ReferenceDeviation = Float64Array;

/**
 * A source of errors that a reference's coefficients may have, normal with their covariance: of the curve's, or of the
 * means of an imported table. Sizes and differences of sizes move by `combinationRow` times the deviation.
 *
 * @returns null where the error is not known (the built-in table, a table without SDs and numbers) or there is none
 */
export function referenceDeviations(
  reference: GrowthReference,
): ((random: RandomStream) => ReferenceDeviation) | null {
  if (reference.kind === 'imported-table' && reference.meanVariances !== null) {
    const sds = Float64Array.from(reference.meanVariances, Math.sqrt);
    return (random) => sds.map((sd) => sd * random.normal());
  }
  if (reference.kind !== 'untreated-series') return null;
  const size = reference.fit.coefficients.length;
  const factor = cholesky(Float64Array.from(reference.fit.covariance), size);
  if (factor === null) return null;
  return (random) => {
    const independent = Float64Array.from({ length: size }, () => random.normal());
    return independent.map((_, row) => {
      let sum = 0;
      for (let k = 0; k <= row; k++) sum += (factor[row * size + k] ?? NaN) * (independent[k] ?? NaN);
      return sum;
    });
  };
}
