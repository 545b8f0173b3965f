import type { CrossProducts } from './cross-products';
import { outerElimination, type OuterElimination } from './outer-elimination';
import { eliminatePairs, ofAllColumns, pairedGroups, type PairedGroups } from './paired-elimination';
import type { RelativeFactors } from './relative-factor';
import { multiply } from './small-matrices';

/** What is left when all random effects are eliminated; V is the covariance of the responses over the residual variance. */
export interface Elimination {
  /** log det V. */
  readonly logDeterminant: number;
  /** [Q y]' V^-1 [Q y], side x side with side = p + 1, lower triangle. */
  readonly normal: Float64Array;
  /**
   * With B = Z' V^-1 [Q y] of a group: the sum over groups of b_a b_b' for each pair of its rows a >= b, made
   * symmetric and kept as a side x side lower triangle; pairs in the order (0,0), (1,0), (1,1), (2,0) and so on.
   * For the groups and for the outer groups.
   */
  readonly randomSpread: Float64Array;
  readonly outerSpread: Float64Array;
  /** Sum over groups of Z' V^-1 Z L, row-major, and of C' V^-1 C L of the outer groups. */
  readonly randomTrace: Float64Array;
  readonly outerTrace: Float64Array;
}

/** Cross-products with the room that eliminations work in, kept from one to the next. */
export interface Eliminator {
  readonly products: CrossProducts;
  readonly scratch: GroupScratch;
  readonly outer: OuterElimination | null;
  /** Null where the groups are eliminated one by one. */
  readonly pairs: PairedGroups | null;
  /** W' V^-1 W of the outer group in hand, and its spreads. */
  readonly within: Float64Array;
  readonly spread: Float64Array;
}

interface GroupScratch {
  /** Z'Z L. */
  readonly zzFactor: Float64Array;
  /** Cholesky factor of L' Z'Z L + I. */
  readonly inner: Float64Array;
  /** Its solution of L' Z'W, forwards and then backwards; q x width. */
  readonly reduced: Float64Array;
  /** Z' V^-1 W. */
  readonly pulled: Float64Array;
}

/** Scratch space for eliminating the random effects of groups, made once for all evaluations. */
export function eliminatorOf(products: CrossProducts): Eliminator {
  const { q, r, width } = products;
  return {
    products,
    scratch: {
      zzFactor: new Float64Array(q * q),
      inner: new Float64Array(q * q),
      reduced: new Float64Array(q * width),
      pulled: new Float64Array(q * width),
    },
    outer: r === 0 ? null : outerElimination(products),
    pairs: pairedGroups(products),
    within: new Float64Array(width * width),
    spread: new Float64Array(pairsOf(q) * width * width),
  };
}

/** Number of pairs a >= b of `size` things. */
function pairsOf(size: number): number {
  return (size * (size + 1)) / 2;
}

/** Eliminates all random effects; with the sums that derivatives need only where `slopes`. Null where the factors are too large. */
export function eliminateGroups(
  eliminator: Eliminator,
  factors: RelativeFactors,
  slopes: boolean,
): Elimination | null {
  const { products, outer, within, spread } = eliminator;
  const { q, r, p, outerStart } = products;
  const side = p + 1;
  const normal = new Float64Array(side * side);
  const randomSpread = new Float64Array(pairsOf(q) * side * side);
  const outerSpread = new Float64Array(pairsOf(r) * side * side);
  const randomTrace = new Float64Array(q * q);
  const outerTrace = new Float64Array(r * r);
  let logDeterminant = 0;
  for (let o = 0; o + 1 < outerStart.length; o++) {
    const logGroups = eliminateWithin(eliminator, factors.random, o, slopes, randomTrace);
    if (Number.isNaN(logGroups)) return null;
    logDeterminant += logGroups;
    if (outer === null) {
      normal.set(within);
      randomSpread.set(spread);
      continue;
    }
    const logOuter = outer.eliminate(within, factors.outer, normal);
    if (Number.isNaN(logOuter)) return null;
    logDeterminant += logOuter;
    if (slopes) {
      outer.addSlopes(factors, spread, { randomSpread, outerSpread, randomTrace, outerTrace });
    }
  }
  return { logDeterminant, normal, randomSpread, outerSpread, randomTrace, outerTrace };
}

/**
 * Eliminates the groups of one outer group: leaves W' V^-1 W in `within` and, where `slopes`, the spreads in `spread`.
 * Returns the sum of log det of L' Z'Z L + I; NaN where that breaks down.
 */
function eliminateWithin(
  eliminator: Eliminator,
  factor: Float64Array,
  o: number,
  slopes: boolean,
  randomTrace: Float64Array,
): number {
  const { products, pairs, within, spread } = eliminator;
  const { width, outerStart } = products;
  const from = outerStart[o] ?? 0;
  const to = outerStart[o + 1] ?? 0;
  if (pairs !== null) {
    const found = eliminatePairs(pairs.products, from, to, factor, pairs.squares[o] ?? 0);
    if (found === null) return NaN;
    within.set(ofAllColumns(found.normal, pairs.combination));
    found.spreads.forEach((sums, pair) =>
      spread.set(ofAllColumns(sums, pairs.combination), pair * width * width),
    );
    const [d11 = 0, d12 = 0, , , d22 = 0] = found.normal;
    const trace = multiply(Float64Array.of(d11, d12, d12, d22), factor, 2, 2, 2);
    trace.forEach((entry, i) => (randomTrace[i] = (randomTrace[i] ?? 0) + entry));
    return found.logDeterminant;
  }
  within.set(products.ww.subarray(o * width * width, (o + 1) * width * width));
  if (slopes) spread.fill(0);
  let logDeterminant = 0;
  for (let group = from; group < to; group++) {
    const logGroup = eliminateGroup(eliminator, factor, group);
    if (Number.isNaN(logGroup)) return NaN;
    logDeterminant += logGroup;
    if (slopes) addSlopes(eliminator, group, randomTrace);
  }
  return logDeterminant;
}

/** Takes one group's random effects out of `within`; returns log det of L' Z'Z L + I, NaN where that breaks down. */
export function eliminateGroup(eliminator: Eliminator, factor: Float64Array, group: number): number {
  const { products, scratch, within } = eliminator;
  const { q, width, columnStart, columns } = products;
  const { reduced } = scratch;
  const product = factoriseInner(scratch, products.zz, group * q * q, factor, q);
  if (!(product > 0)) return NaN;
  const first = columnStart[group] ?? 0;
  const used = (columnStart[group + 1] ?? 0) - first;
  reduceForwards(scratch, products.zw, q * first, used, factor, q);
  for (let i = 0; i < used; i++) {
    const rowAt = (columns[first + i] ?? 0) * width;
    for (let j = 0; j <= i; j++) {
      let sum = 0;
      for (let a = 0; a < q; a++) sum += (reduced[a * used + i] ?? 0) * (reduced[a * used + j] ?? 0);
      const place = rowAt + (columns[first + j] ?? 0);
      within[place] = (within[place] ?? 0) - sum;
    }
  }
  return 2 * Math.log(product);
}

/** Cholesky factor of L' Z'Z L + I in `inner`; returns the product of its diagonal. */
function factoriseInner(
  scratch: GroupScratch,
  zz: Float64Array,
  at: number,
  factor: Float64Array,
  q: number,
): number {
  const { zzFactor, inner } = scratch;
  for (let i = 0; i < q; i++) {
    for (let a = 0; a < q; a++) {
      let sum = 0;
      for (let j = 0; j < q; j++) sum += (zz[at + i * q + j] ?? 0) * (factor[j * q + a] ?? 0);
      zzFactor[i * q + a] = sum;
    }
  }
  let product = 1;
  for (let a = 0; a < q; a++) {
    for (let b = 0; b <= a; b++) {
      let sum = a === b ? 1 : 0;
      for (let i = 0; i < q; i++) sum += (factor[i * q + a] ?? 0) * (zzFactor[i * q + b] ?? 0);
      for (let k = 0; k < b; k++) sum -= (inner[a * q + k] ?? 0) * (inner[b * q + k] ?? 0);
      if (a === b) {
        const root = Math.sqrt(sum);
        inner[a * q + a] = root;
        product *= root;
      } else {
        inner[a * q + b] = sum / (inner[b * q + b] ?? NaN);
      }
    }
  }
  return product;
}

/** The factor's solution of L' Z'W, in `reduced`. */
function reduceForwards(
  scratch: GroupScratch,
  zw: Float64Array,
  at: number,
  used: number,
  factor: Float64Array,
  q: number,
): void {
  const { inner, reduced } = scratch;
  for (let a = 0; a < q; a++) {
    const pivot = 1 / (inner[a * q + a] ?? NaN);
    for (let k = 0; k < used; k++) {
      let sum = 0;
      for (let i = 0; i < q; i++) sum += (factor[i * q + a] ?? 0) * (zw[at + i * used + k] ?? 0);
      for (let b = 0; b < a; b++) sum -= (inner[a * q + b] ?? 0) * (reduced[b * used + k] ?? 0);
      reduced[a * used + k] = sum * pivot;
    }
  }
}

/** Adds one group, just eliminated, to the sums that derivatives need. */
function addSlopes(eliminator: Eliminator, group: number, randomTrace: Float64Array): void {
  const { products, scratch, spread } = eliminator;
  const { q, width, columnStart, columns } = products;
  const first = columnStart[group] ?? 0;
  const used = (columnStart[group + 1] ?? 0) - first;
  const pulled = pullGroup(eliminator, group);
  addTrace(scratch, q, randomTrace);
  let pairAt = 0;
  for (let a = 0; a < q; a++) {
    for (let b = 0; b <= a; b++) {
      for (let i = 0; i < used; i++) {
        const rowAt = pairAt + (columns[first + i] ?? 0) * width;
        const left = (pulled[a * used + i] ?? 0) * 0.5;
        const right = (pulled[b * used + i] ?? 0) * 0.5;
        for (let j = 0; j <= i; j++) {
          const place = rowAt + (columns[first + j] ?? 0);
          spread[place] =
            (spread[place] ?? 0) + left * (pulled[b * used + j] ?? 0) + right * (pulled[a * used + j] ?? 0);
        }
      }
      pairAt += width * width;
    }
  }
}

/**
 * After `eliminateGroup`: solves backwards, so that `reduced` holds (L' Z'Z L + I)^-1 L' Z'W, and returns
 * Z' V^-1 W of the group's used columns.
 */
export function pullGroup({ products, scratch }: Eliminator, group: number): Float64Array {
  const { q, columnStart, zw } = products;
  const { inner, reduced, zzFactor, pulled } = scratch;
  const first = columnStart[group] ?? 0;
  const used = (columnStart[group + 1] ?? 0) - first;
  for (let a = q - 1; a >= 0; a--) {
    const pivot = 1 / (inner[a * q + a] ?? NaN);
    for (let k = 0; k < used; k++) {
      let sum = reduced[a * used + k] ?? 0;
      for (let b = a + 1; b < q; b++) sum -= (inner[b * q + a] ?? 0) * (reduced[b * used + k] ?? 0);
      reduced[a * used + k] = sum * pivot;
    }
  }
  for (let i = 0; i < q; i++) {
    for (let k = 0; k < used; k++) {
      let sum = zw[q * first + i * used + k] ?? 0;
      for (let a = 0; a < q; a++) sum -= (zzFactor[i * q + a] ?? 0) * (reduced[a * used + k] ?? 0);
      pulled[i * used + k] = sum;
    }
  }
  return pulled;
}

/** Adds Z'Z L (L' Z'Z L + I)^-1, which is Z' V^-1 Z L without its cancellation. */
function addTrace({ zzFactor, inner }: GroupScratch, q: number, trace: Float64Array): void {
  for (let i = 0; i < q; i++) {
    const at = i * q;
    for (let a = 0; a < q; a++) {
      let sum = zzFactor[at + a] ?? 0;
      for (let b = 0; b < a; b++) sum -= (inner[a * q + b] ?? 0) * (zzFactor[at + b] ?? 0);
      zzFactor[at + a] = sum / (inner[a * q + a] ?? NaN);
    }
    for (let a = q - 1; a >= 0; a--) {
      let sum = zzFactor[at + a] ?? 0;
      for (let b = a + 1; b < q; b++) sum -= (inner[b * q + a] ?? 0) * (zzFactor[at + b] ?? 0);
      zzFactor[at + a] = sum / (inner[a * q + a] ?? NaN);
      trace[at + a] = (trace[at + a] ?? 0) + (zzFactor[at + a] ?? 0);
    }
  }
}
