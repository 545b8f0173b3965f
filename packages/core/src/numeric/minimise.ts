import { cholesky, solveLower, solveUpper } from './symmetric';

/** Outcome of a minimisation. */
export interface Minimum {
  readonly point: readonly number[];
  readonly value: number;
  readonly evaluations: number;
  /** Largest absolute derivative at the point. */
  readonly gradient: number;
  readonly converged: boolean;
}

type Objective = (point: readonly number[]) => number;

/**
 * Minimises a smooth function of a few unbounded coordinates.
 * Nelder and Mead's simplex finds the neighbourhood from each start; Newton steps with central differences
 * then polish the best of them. Sources: Nelder and Mead 1965; Nocedal and Wright 2006, chapters 3 and 9.
 *
 * @returns the best point, with the gradient that tells how good it is; `converged` is false where the
 *   gradient is larger than `1e-4` of the scale of the objective.
 */
export function minimise(objective: Objective, starts: readonly (readonly number[])[]): Minimum {
  let evaluations = 0;
  const counted: Objective = (point) => {
    evaluations++;
    return objective(point);
  };
  let best: { point: number[]; value: number } | null = null;
  for (const start of starts) {
    // A second simplex around the first answer frees one that collapsed early.
    const first = simplexSearch(counted, start);
    const candidate = simplexSearch(counted, first.point);
    if (best === null || candidate.value < best.value) best = candidate;
  }
  if (best === null) throw new RangeError('minimise: needs at least one start');
  return { ...newtonPolish(counted, best.point), evaluations };
}

function simplexSearch(objective: Objective, start: readonly number[]): { point: number[]; value: number } {
  const size = start.length;
  const corners = [0, ...start.keys()].map((_, corner) => {
    const point = start.map((value, i) =>
      corner === i + 1 ? value + Math.max(0.25, 0.2 * Math.abs(value)) : value,
    );
    return { point, value: objective(point) };
  });
  for (let round = 0; round < 200 * size; round++) {
    corners.sort((a, b) => a.value - b.value);
    const bestCorner = corners[0];
    const worst = corners[size];
    const second = corners[size - 1];
    if (bestCorner === undefined || worst === undefined || second === undefined) break;
    if (worst.value - bestCorner.value <= 1e-10 * (1 + Math.abs(bestCorner.value))) break;
    const centre = start.map(
      (_, i) => corners.slice(0, size).reduce((sum, corner) => sum + (corner.point[i] ?? 0), 0) / size,
    );
    const along = (step: number): { point: number[]; value: number } => {
      const point = centre.map((value, i) => value + step * (value - (worst.point[i] ?? 0)));
      return { point, value: objective(point) };
    };
    const reflected = along(1);
    if (reflected.value < bestCorner.value) {
      const expanded = along(2);
      corners[size] = expanded.value < reflected.value ? expanded : reflected;
    } else if (reflected.value < second.value) {
      corners[size] = reflected;
    } else {
      const contracted = along(reflected.value < worst.value ? 0.5 : -0.5);
      if (contracted.value < Math.min(worst.value, reflected.value)) corners[size] = contracted;
      else shrink(objective, corners);
    }
  }
  corners.sort((a, b) => a.value - b.value);
  return corners[0] ?? { point: [...start], value: objective(start) };
}

function shrink(objective: Objective, corners: { point: number[]; value: number }[]): void {
  const anchor = corners[0]?.point ?? [];
  for (const corner of corners.slice(1)) {
    corner.point = corner.point.map((value, i) => ((anchor[i] ?? 0) + value) / 2);
    corner.value = objective(corner.point);
  }
}

function newtonPolish(objective: Objective, start: readonly number[]): Omit<Minimum, 'evaluations'> {
  let point: readonly number[] = start;
  let value = objective(point);
  let gradient = Infinity;
  for (let round = 0; round < 20; round++) {
    const slope = point.map((_, i) => centralSlope(objective, point, i));
    gradient = Math.max(...slope.map(Math.abs));
    const step = newtonStep(objective, point, value, slope);
    const better = step === null ? null : lineSearch(objective, point, value, step);
    if (better === null) break;
    ({ point, value } = better);
  }
  return { point, value, gradient, converged: gradient <= 1e-4 * (1 + Math.abs(value)) };
}

/** The first of ever shorter steps that lowers the objective; null when none does. */
function lineSearch(
  objective: Objective,
  point: readonly number[],
  value: number,
  step: Float64Array,
): { point: readonly number[]; value: number } | null {
  for (let length = 1; length > 1e-4; length /= 2) {
    const trial = point.map((current, i) => current - length * (step[i] ?? 0));
    const trialValue = objective(trial);
    if (trialValue < value) return { point: trial, value: trialValue };
  }
  return null;
}

const SLOPE_STEP = 1e-5;
const CURVATURE_STEP = 1e-3;

function centralSlope(objective: Objective, point: readonly number[], i: number): number {
  const h = SLOPE_STEP * Math.max(1, Math.abs(point[i] ?? 0));
  return (objective(shifted(point, [[i, h]])) - objective(shifted(point, [[i, -h]]))) / (2 * h);
}

function newtonStep(
  objective: Objective,
  point: readonly number[],
  here: number,
  slope: readonly number[],
): Float64Array | null {
  const size = point.length;
  const h = CURVATURE_STEP;
  const hessian = new Float64Array(size * size);
  for (let i = 0; i < size; i++) {
    const up = objective(shifted(point, [[i, h]]));
    const down = objective(shifted(point, [[i, -h]]));
    hessian[i * size + i] = (up - 2 * here + down) / (h * h);
    for (let j = 0; j < i; j++) {
      const same =
        objective(
          shifted(point, [
            [i, h],
            [j, h],
          ]),
        ) +
        objective(
          shifted(point, [
            [i, -h],
            [j, -h],
          ]),
        );
      const opposite =
        objective(
          shifted(point, [
            [i, h],
            [j, -h],
          ]),
        ) +
        objective(
          shifted(point, [
            [i, -h],
            [j, h],
          ]),
        );
      hessian[i * size + j] = (same - opposite) / (4 * h * h);
      hessian[j * size + i] = (same - opposite) / (4 * h * h);
    }
  }
  const factor = cholesky(hessian, size);
  return factor === null
    ? null
    : solveUpper(factor, size, solveLower(factor, size, Float64Array.from(slope)));
}

function shifted(point: readonly number[], shifts: readonly (readonly [number, number])[]): number[] {
  const moved = [...point];
  for (const [i, h] of shifts) moved[i] = (moved[i] ?? 0) + h;
  return moved;
}
