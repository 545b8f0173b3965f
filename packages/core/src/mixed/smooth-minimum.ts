import { symmetricEigen, type SymmetricEigen } from './symmetric-eigen';

/** A smooth function with its gradient; null outside its domain. */
export type SmoothFunction = (
  point: Float64Array,
) => { readonly value: number; readonly gradient: Float64Array } | null;

/** Where a descent ended. */
export interface SmoothMinimum {
  readonly point: Float64Array;
  readonly value: number;
  readonly gradient: Float64Array;
  readonly evaluations: number;
  readonly converged: boolean;
}

interface Place {
  readonly point: Float64Array;
  readonly value: number;
  readonly gradient: Float64Array;
}

const MOST_ROUNDS = 200;
/** Steps shorter than this, relative to the point, change nothing that is shown. */
const SMALL_STEP = 1e-9;
/** A gain below this share of the value is rounding: from there on the gradient alone judges a step. */
const ROUNDING = 1e-12;

/**
 * Minimises a smooth function by Newton steps inside a region of trust; second derivatives by differences of
 * the gradient. Directions of negative curvature are walked down, so that a saddle is left. Source: Nocedal and
 * Wright 2006, chapter 4. Null where the start lies outside the domain.
 */
export function smoothMinimum(f: SmoothFunction, start: Float64Array): SmoothMinimum | null {
  let evaluations = 0;
  const counted: SmoothFunction = (point) => {
    evaluations++;
    return f(point);
  };
  const first = counted(start);
  if (first === null) return null;
  let here: Place = { point: start, ...first };
  if (start.length === 0) return { ...here, evaluations, converged: true };
  let radius = 1;
  for (let round = 0; round < MOST_ROUNDS; round++) {
    const curvature = symmetricEigen(curvatureAt(counted, here, SLOPE_STEP), start.length);
    const moved = stepWithin(counted, here, curvature, radius);
    if (moved === null) return { ...here, evaluations, converged: isFlat(here, curvature) };
    here = moved.place;
    radius = moved.radius;
    if (moved.last) return { ...here, evaluations, converged: true };
  }
  return { ...here, evaluations, converged: false };
}

const SLOPE_STEP = 1e-6;

/** Tries ever shorter steps; null where none is better than staying. */
function stepWithin(
  f: SmoothFunction,
  here: Place,
  curvature: SymmetricEigen,
  trusted: number,
): { readonly place: Place; readonly radius: number; readonly last: boolean } | null {
  const scale = 1 + Math.hypot(...here.point);
  let radius = trusted;
  while (radius > 1e-12 * scale) {
    const { step, promised } = newtonStep(here.gradient, curvature, radius);
    const length = Math.hypot(...step);
    if (length <= 1e-14 * scale) return null;
    const point = here.point.map((entry, i) => entry + (step[i] ?? 0));
    const there = f(point);
    const small = promised < ROUNDING * (1 + Math.abs(here.value));
    const better =
      there !== null &&
      (small
        ? Math.hypot(...there.gradient) < Math.hypot(...here.gradient)
        : here.value - there.value > 1e-4 * promised);
    if (better) {
      const kept = (here.value - there.value) / promised;
      const grown = small || kept > 0.75 ? Math.max(radius, 2.5 * length) : kept < 0.25 ? radius / 2 : radius;
      return { place: { point, ...there }, radius: grown, last: length <= SMALL_STEP * scale };
    }
    if (small) return null;
    radius = Math.min(radius, length) / 4;
  }
  return null;
}

/** Nothing is left to gain: what the gradient promises is rounding of the value. */
function isFlat(here: Place, curvature: SymmetricEigen): boolean {
  const { promised } = newtonStep(here.gradient, curvature, Infinity);
  return (
    promised < 1e-9 * (1 + Math.abs(here.value)) && (curvature.values[0] ?? 0) > -1e-4 * largest(curvature)
  );
}

function largest({ values }: SymmetricEigen): number {
  return Math.max(1e-300, ...values.map(Math.abs));
}

/** The step that lowers the quadratic model most within the radius, curvature taken as positive; and the gain it promises. */
function newtonStep(
  gradient: Float64Array,
  curvature: SymmetricEigen,
  radius: number,
): { readonly step: Float64Array; readonly promised: number } {
  const along = curvature.vectors.map((vector) =>
    vector.reduce((sum, entry, i) => sum + entry * (gradient[i] ?? 0), 0),
  );
  const floor = 1e-10 * largest(curvature);
  const bends = curvature.values.map((value) => Math.max(Math.abs(value), floor));
  const lengths = (damping: number): number[] => bends.map((bend, i) => -(along[i] ?? 0) / (bend + damping));
  let damping = 0;
  if (Math.hypot(...lengths(0)) > radius) {
    let low = 0;
    let high = Math.hypot(...along) / radius;
    for (let round = 0; round < 60; round++) {
      damping = (low + high) / 2;
      if (Math.hypot(...lengths(damping)) > radius) low = damping;
      else high = damping;
    }
    damping = high;
  }
  const chosen = lengths(damping);
  const step = new Float64Array(gradient.length);
  let promised = 0;
  chosen.forEach((length, k) => {
    promised -= length * (along[k] ?? 0) + 0.5 * length * length * (bends[k] ?? 0);
    curvature.vectors[k]?.forEach((entry, i) => (step[i] = (step[i] ?? 0) + length * entry));
  });
  return { step, promised };
}

/** Second derivatives by forward differences of the gradient, made symmetric. */
function curvatureAt(f: SmoothFunction, here: Place, step: number): Float64Array {
  const size = here.point.length;
  const curvature = new Float64Array(size * size);
  for (let i = 0; i < size; i++) {
    const h = step * Math.max(1, Math.abs(here.point[i] ?? 0));
    const column = differences(f, here, i, h) ?? differences(f, here, i, -h) ?? new Float64Array(size);
    for (let j = 0; j < size; j++) {
      curvature[i * size + j] = (curvature[i * size + j] ?? 0) + (column[j] ?? 0) / 2;
      curvature[j * size + i] = (curvature[j * size + i] ?? 0) + (column[j] ?? 0) / 2;
    }
  }
  return curvature;
}

function differences(f: SmoothFunction, here: Place, i: number, h: number): Float64Array | null {
  const there = f(shifted(here.point, i, h));
  return there?.gradient.map((entry, j) => (entry - (here.gradient[j] ?? 0)) / h) ?? null;
}

/**
 * Second derivatives by central differences of the gradient with two steps, extrapolated (Richardson), good to
 * some 1e-9 of the largest. Null where a neighbour lies outside the domain.
 */
export function exactCurvature(f: SmoothFunction, point: Float64Array): Float64Array | null {
  const size = point.length;
  const curvature = new Float64Array(size * size);
  for (let i = 0; i < size; i++) {
    const h = 1e-3 * Math.max(0.1, Math.abs(point[i] ?? 0));
    const gradients = [h, -h, h / 2, -h / 2].map((shift) => f(shifted(point, i, shift))?.gradient ?? null);
    const [up, down, halfUp, halfDown] = gradients;
    if (up == null || down == null || halfUp == null || halfDown == null) return null;
    for (let j = 0; j < size; j++) {
      const wide = ((up[j] ?? NaN) - (down[j] ?? NaN)) / (2 * h);
      const narrow = ((halfUp[j] ?? NaN) - (halfDown[j] ?? NaN)) / h;
      const entry = (4 * narrow - wide) / 3 / 2;
      curvature[i * size + j] = (curvature[i * size + j] ?? 0) + entry;
      curvature[j * size + i] = (curvature[j * size + i] ?? 0) + entry;
    }
  }
  return curvature;
}

function shifted(point: Float64Array, i: number, by: number): Float64Array {
  const moved = point.slice();
  moved[i] = (moved[i] ?? 0) + by;
  return moved;
}
