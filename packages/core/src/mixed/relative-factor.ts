import { multiply, sandwich } from './small-matrices';
import type { RandomStructure } from './model-data';

/**
 * The relative factor of a random term: the lower triangle L with covariance = sigma^2 L L' (Bates and others
 * 2015, called Lambda there). Written as a list, it holds the lower triangle column by column, or only the
 * diagonal for a diagonal structure.
 */
export type RelativeFactor = readonly number[];

/** The relative factors of both terms, row-major, in the model's own bases; any square matrices will do. */
export interface RelativeFactors {
  readonly random: Float64Array;
  /** Empty where nothing is nested. */
  readonly outer: Float64Array;
}

/** Row-major places of the free entries in a size x size factor, in the order of the list. */
export function freePlaces(size: number, structure: RandomStructure): number[] {
  const places: number[] = [];
  for (let column = 0; column < size; column++) {
    const last = structure === 'full' ? size - 1 : column;
    for (let row = column; row <= last; row++) places.push(row * size + column);
  }
  return places;
}

/** The factor as a row-major matrix. */
export function factorMatrix(
  list: ArrayLike<number>,
  size: number,
  structure: RandomStructure,
): Float64Array {
  const matrix = new Float64Array(size * size);
  freePlaces(size, structure).forEach((place, i) => {
    matrix[place] = list[i] ?? 0;
  });
  return matrix;
}

/** The free entries of a row-major factor, as a list. */
export function factorList(matrix: Float64Array, size: number, structure: RandomStructure): number[] {
  return freePlaces(size, structure).map((place) => matrix[place] ?? 0);
}

/**
 * The lower triangle L with L L' = M M' and no negative entry on its diagonal, by orthonormal rows of M, so that
 * it exists also where M M' is singular.
 */
export function lowerFactor(matrix: Float64Array, size: number): Float64Array {
  const factor = new Float64Array(size * size);
  const directions: (Float64Array | null)[] = [];
  for (let row = 0; row < size; row++) {
    const rest = matrix.slice(row * size, (row + 1) * size);
    const length = Math.hypot(...rest);
    for (let pass = 0; pass < 2; pass++) {
      for (const [k, direction] of directions.entries()) {
        if (direction === null) continue;
        const share = direction.reduce((sum, entry, i) => sum + entry * (rest[i] ?? 0), 0);
        factor[row * size + k] = (factor[row * size + k] ?? 0) + share;
        direction.forEach((entry, i) => (rest[i] = (rest[i] ?? 0) - share * entry));
      }
    }
    const own = Math.hypot(...rest);
    // Less than rounding of the row: no direction of its own is left.
    if (!(own > 1e-15 * length)) {
      directions.push(null);
      continue;
    }
    factor[row * size + row] = own;
    directions.push(rest.map((entry) => entry / own));
  }
  return factor;
}

/** L L', row-major. */
export function covarianceOf(factor: Float64Array, size: number): Float64Array {
  const identity = new Float64Array(size * size);
  for (let i = 0; i < size; i++) identity[i * size + i] = 1;
  return sandwich(factor, identity, size, size);
}

/** The factor after a change of basis: random effects v = T u have covariance T L L' T'. */
export function rebased(transform: Float64Array, factor: Float64Array, size: number): Float64Array {
  return lowerFactor(multiply(transform, factor, size, size, size), size);
}
