import type { TermBasis } from './mixed-model';
import { freePlaces, lowerFactor } from './relative-factor';
import { multiply, transpose } from './small-matrices';

/**
 * The relative factor of one term while one of its variance components is held at a value: a function of as many
 * free parameters as are left.
 */
export interface HeldComponent {
  /** The free parameters at the fit. */
  readonly start: Float64Array;
  /** The component on the scale of the search: its estimate, the ends of the scale (null: none), a step worth trying. */
  readonly at: number;
  readonly lowest: number;
  readonly highest: number | null;
  readonly scale: number;
  /** From the scale of the search to the component's own. */
  shown(at: number): number;
  /** The factor in the term's basis, row-major; `sigma` is the residual standard deviation. */
  factor(at: number, sigma: number, free: Float64Array): Float64Array;
  /** Derivatives by the free parameters, and by log sigma, from those by the entries of the factor. */
  slope(
    at: number,
    sigma: number,
    free: Float64Array,
    byFactor: Float64Array,
  ): { readonly byFree: Float64Array; readonly byLogSigma: number };
}

/**
 * Holds the standard deviation of the effect at `place`. In a basis turned so that the effect is its first
 * direction, the lower triangle of the factor has that standard deviation over sigma for its first entry.
 */
export function heldDeviation(
  basis: TermBasis,
  factor: Float64Array,
  place: number,
  estimate: number,
  residualSd: number,
): HeldComponent {
  const { size, structure, back } = basis;
  const row = back.slice(place * size, (place + 1) * size);
  const stretch = 1 / Math.hypot(...row);
  // Independent effects are directions of the basis already.
  const isDiagonal = structure === 'diagonal';
  const turn = isDiagonal ? identity(size) : orthogonalFrom([row], size);
  const held = isDiagonal ? place * size + place : 0;
  const free = freePlaces(size, structure).filter((entry) => entry !== held);
  const triangle = lowerFactor(multiply(transpose(turn, size, size), factor, size, size, size), size);
  return {
    start: Float64Array.from(free, (entry) => triangle[entry] ?? 0),
    at: estimate,
    lowest: 0,
    highest: null,
    scale: Math.max(estimate / 2, (residualSd * Math.hypot(...row)) / 4),
    shown: (at) => at,
    factor(at, sigma, point) {
      const filled = new Float64Array(size * size);
      free.forEach((entry, i) => (filled[entry] = point[i] ?? 0));
      filled[held] = (at * stretch) / sigma;
      return multiply(turn, filled, size, size, size);
    },
    slope(at, sigma, _, byFactor) {
      const byTriangle = multiply(transpose(turn, size, size), byFactor, size, size, size);
      return {
        byFree: Float64Array.from(free, (entry) => byTriangle[entry] ?? 0),
        byLogSigma: (-at * stretch * (byTriangle[held] ?? 0)) / sigma,
      };
    },
  };
}

/**
 * Holds the correlation of the effects at two places, as the sine of an angle. In a basis turned so that they span its
 * first two directions, the second effect's row of the triangle is its length times (sine, cosine). This length and
 * the first effect's are kept as squares of parameters, since a negative one would turn the correlation around.
 */
export function heldCorrelation(
  basis: TermBasis,
  factor: Float64Array,
  first: number,
  second: number,
): HeldComponent {
  const { size, back } = basis;
  const rowOf = (place: number): Float64Array => back.slice(place * size, (place + 1) * size);
  const other = rowOf(second);
  const turn = orthogonalFrom([rowOf(first), other], size);
  const along = (column: number): number =>
    other.reduce((sum, entry, i) => sum + entry * (turn[i * size + column] ?? 0), 0) / Math.hypot(...other);
  // The angle between the two effects' directions.
  const cosine = along(0);
  const sine = along(1);
  const triangle = lowerFactor(multiply(transpose(turn, size, size), factor, size, size, size), size);
  const inPlane = [
    cosine * (triangle[0] ?? 0) + sine * (triangle[size] ?? 0),
    sine * (triangle[size + 1] ?? 0),
  ] as const;
  const free = freePlaces(size, 'full').filter(
    (entry) => entry !== 0 && entry !== size && entry !== size + 1,
  );
  return {
    start: Float64Array.of(
      Math.sqrt(triangle[0] ?? 0),
      Math.sqrt(Math.hypot(...inPlane)),
      ...free.map((entry) => triangle[entry] ?? 0),
    ),
    at: Math.atan2(inPlane[0], Math.abs(inPlane[1])),
    lowest: -Math.PI / 2,
    highest: Math.PI / 2,
    scale: 0.5,
    shown: Math.sin,
    factor(at, _, point) {
      const [rootFirst = 0, rootSecond = 0] = point;
      const filled = new Float64Array(size * size);
      free.forEach((entry, i) => (filled[entry] = point[i + 2] ?? 0));
      filled[0] = rootFirst ** 2;
      filled[size] = (rootSecond ** 2 * Math.sin(at) - cosine * rootFirst ** 2) / sine;
      filled[size + 1] = (rootSecond ** 2 * Math.cos(at)) / sine;
      return multiply(turn, filled, size, size, size);
    },
    slope(at, _, point, byFactor) {
      const [rootFirst = 0, rootSecond = 0] = point;
      const byTriangle = multiply(transpose(turn, size, size), byFactor, size, size, size);
      const byAcross = byTriangle[size] ?? 0;
      const byOwn = byTriangle[size + 1] ?? 0;
      return {
        byFree: Float64Array.of(
          2 * rootFirst * ((byTriangle[0] ?? 0) - (cosine / sine) * byAcross),
          (2 * rootSecond * (Math.sin(at) * byAcross + Math.cos(at) * byOwn)) / sine,
          ...free.map((entry) => byTriangle[entry] ?? 0),
        ),
        byLogSigma: 0,
      };
    },
  };
}

/** An orthogonal matrix whose first columns span the given directions, one after the other. */
function orthogonalFrom(directions: readonly Float64Array[], size: number): Float64Array {
  const columns: Float64Array[] = [];
  for (const candidate of [...directions, ...unitVectors(size)]) {
    if (columns.length === size) break;
    const length = Math.hypot(...candidate);
    const rest = candidate.map((entry) => entry / length);
    for (let pass = 0; pass < 2; pass++) {
      for (const column of columns) {
        const share = column.reduce((sum, entry, i) => sum + entry * (rest[i] ?? 0), 0);
        column.forEach((entry, i) => (rest[i] = (rest[i] ?? 0) - share * entry));
      }
    }
    const own = Math.hypot(...rest);
    if (own > 1e-12) columns.push(rest.map((entry) => entry / own));
  }
  const matrix = new Float64Array(size * size);
  columns.forEach((column, j) => column.forEach((entry, i) => (matrix[i * size + j] = entry)));
  return matrix;
}

function unitVectors(size: number): Float64Array[] {
  return Array.from({ length: size }, (_, i) =>
    Float64Array.from({ length: size }, (__, j) => (i === j ? 1 : 0)),
  );
}

function identity(size: number): Float64Array {
  const matrix = new Float64Array(size * size);
  for (let i = 0; i < size; i++) matrix[i * size + i] = 1;
  return matrix;
}
