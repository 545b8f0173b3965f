import { factorsAt, freeEntries, type MixedFit } from './linear-mixed-model';
import type { MixedModel, TermBasis } from './mixed-model';
import { criterionOf, type Criterion } from './profiled-deviance';
import { factorMatrix, factorList, freePlaces, lowerFactor, type RelativeFactors } from './relative-factor';
import { multiply, transpose } from './small-matrices';
import type { SmoothFunction } from './smooth-minimum';
import { placedComponents, type PlacedComponent } from './variance-components';

/** How the deviance is followed while one variance component is held at a value. */
export interface ProfilePath {
  /** The component's estimate on the scale of the search, and the ends of that scale; null where it has none. */
  readonly at: number;
  readonly lowest: number | null;
  readonly highest: number | null;
  /** A step worth trying first. */
  readonly scale: number;
  /** All other parameters at the fit. */
  readonly start: Float64Array;
  /** The deviance with the component held, as a function of the others. */
  fixed(at: number): SmoothFunction;
  /** From the scale of the search to the component's own. */
  shown(at: number): number;
}

interface Profiled {
  readonly component: PlacedComponent;
  readonly path: ProfilePath | null;
  /** Why there is no path. */
  readonly missing: string | null;
}

/** One path for each component that has a profile. */
export function profilePaths(model: MixedModel, fit: MixedFit): Profiled[] {
  const criterion = criterionOf(model, fit.criterion);
  return placedComponents(model, fit).map((component) => {
    if (component.term === 'residual') {
      return fit.residualKnown
        ? { component, path: null, missing: 'The residual standard deviation was given, not estimated.' }
        : { component, path: residualPath(criterion, fit), missing: null };
    }
    if (component.estimate === null) {
      return {
        component,
        path: null,
        missing: 'A correlation with an effect that does not vary is not defined.',
      };
    }
    const held =
      component.kind === 'correlation' ? heldCorrelation(model, component) : heldDeviation(model, component);
    return { component, path: termPath(criterion, fit, component, held), missing: null };
  });
}

/** The residual standard deviation, on the logarithmic scale: the factors are free. */
function residualPath(criterion: Criterion, fit: MixedFit): ProfilePath {
  const { model } = criterion;
  return {
    at: Math.log(fit.residualSd),
    lowest: null,
    highest: null,
    scale: 2 / Math.sqrt(model.products.responses),
    start: freeEntries(model, fit.factors),
    fixed: (at) => (point) => {
      const found = criterion.slope(factorsAt(model, point), Math.exp(2 * at));
      return found && { value: found.deviance, gradient: freeEntries(model, found.slope) };
    },
    shown: Math.exp,
  };
}

/**
 * The factor of one term in a turned basis, in which the component held is one or two plain entries: the factor in the
 * model's basis is `turn` times a lower triangle.
 */
interface Held {
  readonly turn: Float64Array;
  /** Places of the lower triangle that stay free. For a correlation the last of them is the length of its second row. */
  readonly free: readonly number[];
  /** Fills in the entries held and returns how they move with the free entries: [place, free entry, rate]. */
  fill(triangle: Float64Array, value: number, sigma: number, length: number): void;
  readonly isCorrelation: boolean;
  /** For a correlation: the angle between the two directions, as cosine and sine. */
  readonly cosine: number;
  readonly sine: number;
}

function heldDeviation(model: MixedModel, component: PlacedComponent): Held {
  const basis = basisOf(model, component);
  const { size, structure, back } = basis;
  const [place = 0] = component.places;
  if (structure === 'diagonal') {
    const own = place * size + place;
    const stretch = 1 / (back[own] ?? NaN);
    return {
      turn: identity(size),
      free: freePlaces(size, 'diagonal').filter((entry) => entry !== own),
      fill: (triangle, value, sigma) => {
        triangle[own] = (value * stretch) / sigma;
      },
      isCorrelation: false,
      cosine: 0,
      sine: 1,
    };
  }
  const row = back.slice(place * size, (place + 1) * size);
  const stretch = 1 / Math.hypot(...row);
  return {
    turn: orthogonalFrom([row], size),
    free: freePlaces(size, 'full').filter((entry) => entry !== 0),
    fill: (triangle, value, sigma) => {
      triangle[0] = (value * stretch) / sigma;
    },
    isCorrelation: false,
    cosine: 0,
    sine: 1,
  };
}

function heldCorrelation(model: MixedModel, component: PlacedComponent): Held {
  const { size, back } = basisOf(model, component);
  const [first = 0, second = 1] = component.places;
  const rows = [first, second].map((place) => back.slice(place * size, (place + 1) * size));
  const turn = orthogonalFrom(rows, size);
  const other = rows[1] ?? new Float64Array(size);
  const length = Math.hypot(...other);
  const along = (column: number): number =>
    other.reduce((sum, entry, i) => sum + entry * (turn[i * size + column] ?? 0), 0) / length;
  const cosine = along(0);
  const sine = along(1);
  return {
    turn,
    // Entries (1,0) and (1,1) follow from the angle held, the first entry and the length of the second effect.
    free: freePlaces(size, 'full').filter((entry) => entry !== size && entry !== size + 1),
    fill: (triangle, angle, _, own) => {
      triangle[size] = (own * Math.sin(angle) - cosine * (triangle[0] ?? 0)) / sine;
      triangle[size + 1] = (own * Math.cos(angle)) / sine;
    },
    isCorrelation: true,
    cosine,
    sine,
  };
}

function basisOf(model: MixedModel, component: PlacedComponent): TermBasis {
  return component.term === 'outer' && model.outer !== null ? model.outer : model.random;
}

/**
 * Parameters of a path: the free entries of the turned triangle, then for a correlation the length of the second
 * effect (this and the first entry as square roots, since a negative length would turn the correlation around), then the entries of the other term, and for a standard deviation the logarithm of the residual one where that is
 * estimated (for a correlation it is profiled out).
 */
function termPath(criterion: Criterion, fit: MixedFit, component: PlacedComponent, held: Held): ProfilePath {
  const { model } = criterion;
  const isOuter = component.term === 'outer';
  const { size } = basisOf(model, component);
  const other = isOuter ? model.random : model.outer;
  const own = isOuter ? fit.factors.outer : fit.factors.random;
  const turned = multiply(transpose(held.turn, size, size), own, size, size, size);
  const triangle = lowerFactor(turned, size);
  const otherFactor = isOuter ? fit.factors.random : fit.factors.outer;
  const otherList = other === null ? [] : factorList(otherFactor, other.size, other.structure);
  const movesSigma = !held.isCorrelation && !fit.residualKnown;
  const isRoot = (place: number): boolean => held.isCorrelation && place === 0;
  const second = secondEffect(triangle, size, held);
  const start = Float64Array.of(
    ...held.free.map((place) => (isRoot(place) ? Math.sqrt(triangle[place] ?? 0) : (triangle[place] ?? 0))),
    ...(held.isCorrelation ? [Math.sqrt(Math.hypot(...second))] : []),
    ...otherList,
    ...(movesSigma ? [Math.log(fit.residualSd)] : []),
  );
  const ownCount = held.free.length + (held.isCorrelation ? 1 : 0);
  const variance = fit.residualKnown ? fit.residualSd ** 2 : null;

  const fixed: ProfilePath['fixed'] = (at) => (point) => {
    const sigma = movesSigma ? Math.exp(point[point.length - 1] ?? NaN) : fit.residualSd;
    const root = held.isCorrelation ? (point[held.free.length] ?? 0) : 0;
    const filled = new Float64Array(size * size);
    held.free.forEach((place, i) => (filled[place] = isRoot(place) ? (point[i] ?? 0) ** 2 : (point[i] ?? 0)));
    held.fill(filled, at, sigma, root ** 2);
    const factor = multiply(held.turn, filled, size, size, size);
    const rest = point.subarray(ownCount, ownCount + otherList.length);
    const otherMatrix =
      other === null ? new Float64Array(0) : factorMatrix(rest, other.size, other.structure);
    const factors: RelativeFactors = isOuter
      ? { random: otherMatrix, outer: factor }
      : { random: factor, outer: otherMatrix };
    const found = criterion.slope(factors, movesSigma ? sigma ** 2 : variance);
    if (found === null) return null;
    const ownSlope = isOuter ? found.slope.outer : found.slope.random;
    const otherSlope = isOuter ? found.slope.random : found.slope.outer;
    const byTriangle = multiply(transpose(held.turn, size, size), ownSlope, size, size, size);
    const gradient = new Float64Array(point.length);
    held.free.forEach((place, i) => (gradient[i] = byTriangle[place] ?? 0));
    if (held.isCorrelation) {
      const bySecond = byTriangle[size] ?? 0;
      const firstAt = held.free.indexOf(0);
      gradient[firstAt] =
        2 * (point[firstAt] ?? 0) * ((byTriangle[0] ?? 0) - (held.cosine / held.sine) * bySecond);
      gradient[held.free.length] =
        (2 * root * (Math.sin(at) * bySecond + Math.cos(at) * (byTriangle[size + 1] ?? 0))) / held.sine;
    }
    if (other !== null) gradient.set(factorList(otherSlope, other.size, other.structure), ownCount);
    if (movesSigma) {
      const moved = heldProduct(held, filled, byTriangle, size);
      gradient[point.length - 1] = 2 * found.degrees - (2 * found.sumOfSquares) / found.variance - moved;
    }
    return { value: found.deviance, gradient };
  };

  const estimate = component.estimate ?? 0;
  return held.isCorrelation
    ? {
        at: Math.atan2(second[0] ?? 0, Math.abs(second[1] ?? 0)),
        lowest: -Math.PI / 2,
        highest: Math.PI / 2,
        scale: 0.5,
        start,
        fixed,
        shown: (angle) => Math.sin(angle),
      }
    : {
        at: estimate,
        lowest: 0,
        highest: null,
        scale: Math.max(estimate / 2, fit.residualSd / columnSize(model, component) / 4),
        start,
        fixed,
        shown: (at) => at,
      };
}

/** Entry held times its derivative: it moves with the residual standard deviation as 1 / sigma. */
function heldProduct(held: Held, filled: Float64Array, byTriangle: Float64Array, size: number): number {
  let sum = 0;
  for (let place = 0; place < size * size; place++) {
    if (!held.free.includes(place)) sum += (filled[place] ?? 0) * (byTriangle[place] ?? 0);
  }
  return sum;
}

/** The row of the second effect of a correlation in the plane of the first two columns. */
function secondEffect(triangle: Float64Array, size: number, held: Held): [number, number] {
  return [
    held.cosine * (triangle[0] ?? 0) + held.sine * (triangle[size] ?? 0),
    held.sine * (triangle[size + 1] ?? 0),
  ];
}

/** Root mean square of a random-effect column in the data. */
function columnSize(model: MixedModel, component: PlacedComponent): number {
  const { transform, size } = basisOf(model, component);
  const [column = 0] = component.places;
  let squares = 0;
  for (let row = 0; row < size; row++) squares += (transform[row * size + column] ?? 0) ** 2;
  return Math.sqrt(squares) || 1;
}

/** An orthogonal matrix whose first columns span the given directions, one after the other. */
function orthogonalFrom(directions: readonly Float64Array[], size: number): Float64Array {
  const candidates = [...directions];
  for (let i = 0; i < size; i++) {
    const unit = new Float64Array(size);
    unit[i] = 1;
    candidates.push(unit);
  }
  const columns: Float64Array[] = [];
  for (const candidate of candidates) {
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

function identity(size: number): Float64Array {
  const matrix = new Float64Array(size * size);
  for (let i = 0; i < size; i++) matrix[i * size + i] = 1;
  return matrix;
}
