import type { IntervalLikelihood } from './innermost-intervals';
import type { MassPlace } from './mass-likelihood';
import { emptySkyline, factorWork, solveSkyline } from './skyline';

/**
 * The second derivatives of the log-likelihood in the distribution function F between the innermost intervals that
 * carry mass, as a weighted graph: each observation joins the two places its probability is the difference of.
 * F is fixed at both ends of the line; those places have no number here (-1 below, `size` above).
 */
interface Stiffness {
  readonly size: number;
  readonly low: Int32Array;
  readonly high: Int32Array;
  /** count / p and count / p^2 of each observation. */
  readonly force: Float64Array;
  readonly weight: Float64Array;
}

/**
 * Newton's change of F at each place between intervals with mass, and the derivative of the log-likelihood there.
 * Solved by a sparse factorisation inside the skyline of the graph; where long intervals fill that up, by conjugate
 * gradients preconditioned with the chain of neighbours (Golub and Van Loan 2013, 11.5).
 */
export function newtonOfF(
  likelihood: IntervalLikelihood,
  place: MassPlace,
): { readonly step: Float64Array; readonly slope: Float64Array } {
  const graph = stiffnessOf(likelihood, place);
  const slope = new Float64Array(graph.size);
  const start = Int32Array.from({ length: graph.size }, (_, row) => row);
  for (let i = 0; i < graph.low.length; i++) {
    const low = graph.low[i] ?? 0;
    const high = graph.high[i] ?? 0;
    const force = graph.force[i] ?? 0;
    if (high < graph.size) slope[high] = (slope[high] ?? 0) + force;
    if (low < 0) continue;
    slope[low] = (slope[low] ?? 0) - force;
    if (high < graph.size && low < (start[high] ?? 0)) start[high] = low;
  }
  const step =
    factorWork(start) > MOST_WORK ? conjugateGradients(graph, slope) : factored(graph, start, slope);
  return { step, slope };
}

/** Multiplications of one factorisation beyond which iterations are quicker. */
const MOST_WORK = 2e7;

function stiffnessOf({ first, last, count }: IntervalLikelihood, place: MassPlace): Stiffness {
  const before = new Int32Array(place.masses.length + 1);
  for (let j = 0; j < place.masses.length; j++) {
    before[j + 1] = (before[j] ?? 0) + ((place.masses[j] ?? 0) > 0 ? 1 : 0);
  }
  const n = count.length;
  const low = new Int32Array(n);
  const high = new Int32Array(n);
  const force = new Float64Array(n);
  const weight = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    low[i] = (before[first[i] ?? 0] ?? 0) - 1;
    high[i] = (before[(last[i] ?? 0) + 1] ?? 0) - 1;
    const p = place.probability[i] ?? 0;
    force[i] = (count[i] ?? 0) / p;
    weight[i] = (force[i] ?? 0) / p;
  }
  return { size: (before[place.masses.length] ?? 1) - 1, low, high, force, weight };
}

function factored(graph: Stiffness, start: Int32Array, slope: Float64Array): Float64Array {
  const matrix = emptySkyline(start);
  const { offset, values } = matrix;
  const add = (row: number, column: number, amount: number): void => {
    const at = (offset[row] ?? 0) + column - (start[row] ?? 0);
    values[at] = (values[at] ?? 0) + amount;
  };
  for (let i = 0; i < graph.low.length; i++) {
    const low = graph.low[i] ?? 0;
    const high = graph.high[i] ?? 0;
    const weight = graph.weight[i] ?? 0;
    if (high < graph.size) add(high, high, weight);
    if (low < 0) continue;
    add(low, low, weight);
    if (high < graph.size) add(high, low, -weight);
  }
  const step = slope.slice();
  solveSkyline(matrix, step);
  return step;
}

function conjugateGradients(graph: Stiffness, slope: Float64Array): Float64Array {
  const precondition = chainSolver(graph);
  const x = new Float64Array(graph.size);
  const residual = slope.slice();
  let z = precondition(residual);
  const direction = z.slice();
  let size = dot(residual, z);
  const enough = 1e-20 * size;
  for (let round = 0; round < MOST_ROUNDS && size > enough; round++) {
    const image = product(graph, direction);
    const length = size / dot(direction, image);
    for (let k = 0; k < x.length; k++) {
      x[k] = (x[k] ?? 0) + length * (direction[k] ?? 0);
      residual[k] = (residual[k] ?? 0) - length * (image[k] ?? 0);
    }
    z = precondition(residual);
    const next = dot(residual, z);
    for (let k = 0; k < x.length; k++) direction[k] = (z[k] ?? 0) + (next / size) * (direction[k] ?? 0);
    size = next;
  }
  return x;
}

const MOST_ROUNDS = 500;

function dot(left: Float64Array, right: Float64Array): number {
  let sum = 0;
  for (let k = 0; k < left.length; k++) sum += (left[k] ?? 0) * (right[k] ?? 0);
  return sum;
}

function product(graph: Stiffness, x: Float64Array): Float64Array {
  const image = new Float64Array(graph.size);
  for (let i = 0; i < graph.low.length; i++) {
    const low = graph.low[i] ?? 0;
    const high = graph.high[i] ?? 0;
    const stretch = (graph.weight[i] ?? 0) * ((x[high] ?? 0) - (x[low] ?? 0));
    if (high < graph.size) image[high] = (image[high] ?? 0) + stretch;
    if (low >= 0) image[low] = (image[low] ?? 0) - stretch;
  }
  return image;
}

/** Solves with the diagonal of the graph's matrix and the entries beside it. */
function chainSolver(graph: Stiffness): (b: Float64Array) => Float64Array {
  const diagonal = new Float64Array(graph.size);
  const beside = new Float64Array(graph.size);
  for (let i = 0; i < graph.low.length; i++) {
    const low = graph.low[i] ?? 0;
    const high = graph.high[i] ?? 0;
    const weight = graph.weight[i] ?? 0;
    if (low >= 0) diagonal[low] = (diagonal[low] ?? 0) + weight;
    if (high < graph.size) diagonal[high] = (diagonal[high] ?? 0) + weight;
    if (low >= 0 && high === low + 1 && high < graph.size) beside[high] = (beside[high] ?? 0) - weight;
  }
  const ratio = new Float64Array(graph.size);
  for (let k = 1; k < graph.size; k++) {
    ratio[k] = (beside[k] ?? 0) / (diagonal[k - 1] ?? 1);
    diagonal[k] = (diagonal[k] ?? 0) - (ratio[k] ?? 0) * (beside[k] ?? 0);
  }
  return (b) => {
    const x = b.slice();
    for (let k = 1; k < x.length; k++) x[k] = (x[k] ?? 0) - (ratio[k] ?? 0) * (x[k - 1] ?? 0);
    for (let k = x.length - 1; k >= 0; k--) {
      const after = k + 1 < x.length ? (ratio[k + 1] ?? 0) * (x[k + 1] ?? 0) : 0;
      x[k] = (x[k] ?? 0) / (diagonal[k] ?? 1) - after;
    }
    return x;
  };
}
