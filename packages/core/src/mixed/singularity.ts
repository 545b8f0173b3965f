import type { TermBasis } from './mixed-model';
import { covarianceOf, rebased } from './relative-factor';
import { symmetricEigen } from './symmetric-eigen';

/** One way in which an estimated covariance of random effects lies at the edge of what is possible. */
export interface Singularity {
  readonly kind: 'zero-variance' | 'perfect-correlation' | 'fewer-dimensions';
  /** What the groups are. */
  readonly factor: string;
  /** The random effects concerned. */
  readonly effects: readonly string[];
  /** What it means, in a sentence. */
  readonly meaning: string;
}

/** Standard deviations relative to the residual one that are smaller than this count as zero. */
const ZERO = 1e-4;
/** Correlations closer to one than this count as perfect. */
const PERFECT = 1e-7;

/** What is singular in one random term; `factor` in the model's basis, where columns have mean square 1. */
export function singularities(basis: TermBasis, factor: Float64Array): Singularity[] {
  const { size, names } = basis;
  const own = covarianceOf(rebased(basis.back, factor, size), size);
  const sd = names.map((_, i) => Math.sqrt(own[i * size + i] ?? 0));
  const isZero = sd.map((value, i) => value * (columnSize(basis, i) || 1) < ZERO);
  const found: Singularity[] = [];
  names.forEach((name, i) => {
    if (isZero[i] === true) found.push(zeroVariance(basis.factor, name));
    for (let j = 0; j < i; j++) {
      if (isZero[i] === true || isZero[j] === true) continue;
      const correlation = (own[i * size + j] ?? 0) / ((sd[i] ?? NaN) * (sd[j] ?? NaN));
      const flat = smallestShare(factor, size) < ZERO;
      if (1 - Math.abs(correlation) < PERFECT && flat) {
        found.push(perfectCorrelation(basis.factor, names[j] ?? '', name, correlation));
      }
    }
  });
  if (found.length === 0 && smallestShare(factor, size) < ZERO) {
    found.push({
      kind: 'fewer-dimensions',
      factor: basis.factor,
      effects: names,
      meaning: `The random effects of ${basis.factor} vary in fewer directions than there are effects: one is a combination of the others. The data don't carry so many.`,
    });
  }
  return found;
}

/** Root mean square of the column in the data. */
function columnSize({ transform, size }: TermBasis, column: number): number {
  let squares = 0;
  for (let row = 0; row < size; row++) squares += (transform[row * size + column] ?? 0) ** 2;
  return Math.sqrt(squares);
}

/** The smallest standard deviation in any direction of the basis, relative to the residual one. */
function smallestShare(factor: Float64Array, size: number): number {
  const smallest = symmetricEigen(covarianceOf(factor, size), size).values[0] ?? 0;
  return Math.sqrt(Math.max(0, smallest));
}

function zeroVariance(factor: string, name: string): Singularity {
  return {
    kind: 'zero-variance',
    factor,
    effects: [name],
    meaning: `The variance of ${name} between groups (${factor}) is estimated as 0: the groups differ no more than the residual scatter alone would make them differ. Correlations with it are not defined.`,
  };
}

function perfectCorrelation(factor: string, first: string, second: string, correlation: number): Singularity {
  const sign = correlation > 0 ? '+1' : '-1';
  return {
    kind: 'perfect-correlation',
    factor,
    effects: [first, second],
    meaning: `${first} and ${second} (${factor}) are estimated to be perfectly correlated (${sign}): the data carry one of them, or the two at a fixed ratio, but not both. Their correlation should not be interpreted.`,
  };
}
