import { cholesky, inverseFromCholesky, solveLower, solveUpper } from '../numeric';
import type { CrossProducts } from './cross-products';
import type { RelativeFactors } from './relative-factor';
import { multiply, sandwich, transpose } from './small-matrices';

/** Sums over outer groups that derivatives need; see `Elimination`. */
interface SlopeSums {
  readonly randomSpread: Float64Array;
  readonly outerSpread: Float64Array;
  readonly randomTrace: Float64Array;
  readonly outerTrace: Float64Array;
}

/** One outer group after its own random effects are eliminated. */
export interface OuterState {
  /** C' V^-1 C L, with V of the groups within only; r x r. */
  readonly ccFactor: Float64Array;
  /** Inverse of L' C' V^-1 C L + I, r x r. */
  readonly innerInverse: Float64Array;
  /** That inverse times L' C' V^-1 [Q y], r x side. */
  readonly solved: Float64Array;
  /** C' V^-1 [Q y] with V of all random effects; r x side. */
  readonly pulled: Float64Array;
}

/** Eliminates the random effects of outer groups, one at a time; keeps the last one's state for its derivatives. */
export interface OuterElimination {
  /** Adds what is left of `within` to `normal`; returns log det of L' C' V^-1 C L + I, NaN where that breaks down. */
  eliminate(within: Float64Array, factor: Float64Array, normal: Float64Array): number;
  /** Adds the outer group just eliminated to the sums. `spread` is that of its groups, with V of the groups only. */
  addSlopes(factors: RelativeFactors, spread: Float64Array, sums: SlopeSums): void;
  state(): OuterState;
}

/** The elimination of the outer groups' random effects, with its own scratch space. */
export function outerElimination(products: CrossProducts): OuterElimination {
  const { q, r, p, width } = products;
  const side = p + 1;
  let state: OuterState = {
    ccFactor: new Float64Array(0),
    innerInverse: new Float64Array(0),
    solved: new Float64Array(0),
    pulled: new Float64Array(0),
  };

  const eliminate = (within: Float64Array, factor: Float64Array, normal: Float64Array): number => {
    const { cc, cw } = outerBlocks(within, r, side);
    const ccFactor = multiply(cc, factor, r, r, r);
    const turned = transpose(factor, r, r);
    const inner = multiply(turned, ccFactor, r, r, r);
    for (let c = 0; c < r; c++) inner[c * r + c] = (inner[c * r + c] ?? 0) + 1;
    const innerFactor = cholesky(inner, r);
    if (innerFactor === null) return NaN;
    const solved = multiply(turned, cw, r, r, side);
    eachColumn(solved, r, side, (column) => solveLower(innerFactor, r, column));
    addRemainder(normal, within, solved, r, side);
    eachColumn(solved, r, side, (column) => solveUpper(innerFactor, r, column));
    const explained = multiply(ccFactor, solved, r, r, side);
    state = {
      ccFactor,
      innerInverse: inverseFromCholesky(innerFactor, r),
      solved,
      pulled: cw.map((entry, i) => entry - (explained[i] ?? 0)),
    };
    let logDeterminant = 0;
    for (let c = 0; c < r; c++) logDeterminant += 2 * Math.log(innerFactor[c * r + c] ?? NaN);
    return logDeterminant;
  };

  const addSlopes = (factors: RelativeFactors, spread: Float64Array, sums: SlopeSums): void => {
    addTo(sums.outerTrace, multiply(state.ccFactor, state.innerInverse, r, r, r));
    addPairs(sums.outerSpread, state.pulled, r, side);
    const share = multiply(factors.outer, state.solved, r, r, side);
    const shrunken = sandwich(factors.outer, state.innerInverse, r, r);
    const correction = new Float64Array(q * q);
    let pair = 0;
    for (let a = 0; a < q; a++) {
      for (let b = 0; b <= a; b++) {
        const from = spread.subarray(pair * width * width, (pair + 1) * width * width);
        const to = sums.randomSpread.subarray(pair * side * side, (pair + 1) * side * side);
        const trace = adjustSpread(from, share, shrunken, to, r, side);
        correction[a * q + b] = trace;
        correction[b * q + a] = trace;
        pair++;
      }
    }
    const loss = multiply(correction, factors.random, q, q, q);
    addTo(
      sums.randomTrace,
      loss.map((entry) => -entry),
    );
  };
  return { eliminate, addSlopes, state: () => state };
}

/** C' V^-1 C, full, and C' V^-1 [Q y] out of the lower triangle of the whole. */
function outerBlocks(
  within: Float64Array,
  r: number,
  side: number,
): { readonly cc: Float64Array; readonly cw: Float64Array } {
  const width = r + side;
  const cc = new Float64Array(r * r);
  const cw = new Float64Array(r * side);
  for (let c = 0; c < r; c++) {
    for (let d = 0; d <= c; d++) {
      cc[c * r + d] = within[c * width + d] ?? 0;
      cc[d * r + c] = within[c * width + d] ?? 0;
    }
    for (let k = 0; k < side; k++) cw[c * side + k] = within[(r + k) * width + c] ?? 0;
  }
  return { cc, cw };
}

/** Changes each column of an r x side matrix in place. */
function eachColumn(
  matrix: Float64Array,
  r: number,
  side: number,
  change: (column: Float64Array) => void,
): void {
  const column = new Float64Array(r);
  for (let k = 0; k < side; k++) {
    for (let c = 0; c < r; c++) column[c] = matrix[c * side + k] ?? 0;
    change(column);
    for (let c = 0; c < r; c++) matrix[c * side + k] = column[c] ?? 0;
  }
}

/** Adds what the outer effects leave of [Q y]' V^-1 [Q y]. */
function addRemainder(
  normal: Float64Array,
  within: Float64Array,
  half: Float64Array,
  r: number,
  side: number,
): void {
  const width = r + side;
  for (let i = 0; i < side; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = within[(r + i) * width + r + j] ?? 0;
      for (let c = 0; c < r; c++) sum -= (half[c * side + i] ?? 0) * (half[c * side + j] ?? 0);
      normal[i * side + j] = (normal[i * side + j] ?? 0) + sum;
    }
  }
}

/**
 * Takes the outer random effects into account in the spread of one pair: columns [Q y] become [Q y] - C share.
 * Adds the result to `to` and returns the trace of its outer block with `shrunken`.
 */
function adjustSpread(
  from: Float64Array,
  share: Float64Array,
  shrunken: Float64Array,
  to: Float64Array,
  r: number,
  side: number,
): number {
  const width = r + side;
  const outerBlock = (c: number, d: number): number => from[Math.max(c, d) * width + Math.min(c, d)] ?? 0;
  for (let i = 0; i < side; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = from[(r + i) * width + r + j] ?? 0;
      for (let c = 0; c < r; c++) {
        const left = share[c * side + i] ?? 0;
        const right = share[c * side + j] ?? 0;
        sum -= left * (from[(r + j) * width + c] ?? 0) + right * (from[(r + i) * width + c] ?? 0);
        for (let d = 0; d < r; d++) sum += left * outerBlock(c, d) * (share[d * side + j] ?? 0);
      }
      to[i * side + j] = (to[i * side + j] ?? 0) + sum;
    }
  }
  let trace = 0;
  for (let c = 0; c < r; c++)
    for (let d = 0; d < r; d++) trace += (shrunken[c * r + d] ?? 0) * outerBlock(c, d);
  return trace;
}

function addPairs(spread: Float64Array, pulled: Float64Array, size: number, side: number): void {
  let start = 0;
  for (let a = 0; a < size; a++) {
    for (let b = 0; b <= a; b++) {
      for (let i = 0; i < side; i++) {
        for (let j = 0; j <= i; j++) {
          const product =
            (pulled[a * side + i] ?? 0) * (pulled[b * side + j] ?? 0) +
            (pulled[b * side + i] ?? 0) * (pulled[a * side + j] ?? 0);
          spread[start + i * side + j] = (spread[start + i * side + j] ?? 0) + product / 2;
        }
      }
      start += side * side;
    }
  }
}

function addTo(target: Float64Array, amount: Float64Array): void {
  for (let i = 0; i < target.length; i++) target[i] = (target[i] ?? 0) + (amount[i] ?? 0);
}
