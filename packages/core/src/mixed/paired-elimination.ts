import type { CrossProducts } from './cross-products';
import type { MixedData, NamedColumn } from './model-data';
import type { TermBasis } from './mixed-model';
import { multiply, transpose } from './small-matrices';

/*
 * Two random effects a group whose columns are also those of the fixed and of the outer effects, as in the model of
 * lasting and passing gain. Then W = [Z M, y] with one matrix M for all groups, and of a group only Z'V^-1 Z and
 * Z'V^-1 y are needed, which have formulas without a factorisation: a pool of some hundred thousand patients is
 * eliminated in a few hundredths of a second.
 */

/**
 * From so many groups on. The formulas take the sum of squares that is explained from the whole one: in a small model that
 * fits almost exactly nothing but rounding would be left of the difference, and the search would go astray.
 */
const FEWEST_GROUPS = 1000;

/**
 * M of the fixed and outer columns, each being a column of the random effects: [C Q] = Z M in the model's bases,
 * row-major 2 x (r + p). Null where there are not two random effects, another column is in the model, or groups are few.
 */
export function columnsFromRandom(
  data: MixedData,
  random: TermBasis,
  outer: TermBasis | null,
  inverseTriangle: Float64Array,
): Float64Array | null {
  if (random.size !== 2 || new Set(Array.from(data.random.labels)).size < FEWEST_GROUPS) return null;
  const fixed = places(data.fixed, data.random.columns);
  const outers = outer === null ? [] : places(data.outer?.columns ?? [], data.random.columns);
  if (fixed === null || outers === null) return null;
  const p = fixed.length;
  const r = outers.length;
  const toFixed = combined(random.transform, fixed, inverseTriangle);
  const toOuter = outer === null ? new Float64Array(0) : combined(random.transform, outers, outer.back);
  const whole = new Float64Array(2 * (r + p));
  for (let a = 0; a < 2; a++) {
    whole.set(toOuter.subarray(a * r, (a + 1) * r), a * (r + p));
    whole.set(toFixed.subarray(a * p, (a + 1) * p), a * (r + p) + r);
  }
  return whole;
}

/** For each column the place of the equal one among the random effects'; null where one has none. */
function places(columns: readonly NamedColumn[], among: readonly NamedColumn[]): number[] | null {
  const found = columns.map(({ values }) => among.findIndex((one) => isSame(one.values, values)));
  return found.includes(-1) ? null : found;
}

function isSame(left: ArrayLike<number>, right: ArrayLike<number>): boolean {
  if (left === right) return true;
  for (let i = 0; i < left.length; i++) if (left[i] !== right[i]) return false;
  return left.length === right.length;
}

/** transform * (columns at `chosen`) * basis, 2 x size. */
function combined(transform: Float64Array, chosen: readonly number[], basis: Float64Array): Float64Array {
  const size = chosen.length;
  const picked = new Float64Array(2 * size);
  for (let a = 0; a < 2; a++) {
    chosen.forEach((place, i) => (picked[a * size + i] = transform[a * 2 + place] ?? 0));
  }
  return multiply(picked, basis, 2, size, size);
}

/** The groups of a model whose columns are all those of its two random effects. */
export interface PairedGroups {
  /** Of each group: Z'Z (11, 12, 22) and Z'y (1, 2). */
  readonly products: Float64Array;
  /** y'y of each outer group. */
  readonly squares: Float64Array;
  /** [Z M, y] from [Z y]: 3 x width, row-major. */
  readonly combination: Float64Array;
}

const STRIDE = 5;

/** Packs the products that are needed; null where other columns are in the model. */
export function pairedGroups(sums: CrossProducts): PairedGroups | null {
  const { fromRandom, groups, width, outerStart, zz, zw, columnStart, ww } = sums;
  if (fromRandom === null) return null;
  const products = new Float64Array(STRIDE * groups);
  for (let g = 0; g < groups; g++) {
    const first = columnStart[g] ?? 0;
    const used = (columnStart[g + 1] ?? 0) - first;
    const at = STRIDE * g;
    products[at] = zz[4 * g] ?? 0;
    products[at + 1] = zz[4 * g + 1] ?? 0;
    products[at + 2] = zz[4 * g + 3] ?? 0;
    // The response is the last column of every group.
    products[at + 3] = zw[2 * first + used - 1] ?? 0;
    products[at + 4] = zw[2 * first + 2 * used - 1] ?? 0;
  }
  const combination = new Float64Array(3 * width);
  combination.set(fromRandom.subarray(0, width - 1));
  combination.set(fromRandom.subarray(width - 1), width);
  combination[3 * width - 1] = 1;
  return {
    products,
    squares: Float64Array.from(
      { length: outerStart.length - 1 },
      (_, o) => ww[(o + 1) * width * width - 1] ?? 0,
    ),
    combination,
  };
}

/** Determinants are multiplied up to this before a logarithm is taken. */
const LARGEST_PRODUCT = 1e150;

/** What is left of one outer group, or of all groups where nothing is nested, when the groups' effects are eliminated. */
export interface PairedElimination {
  /** Sum over the groups of log det(L' Z'Z L + I). */
  readonly logDeterminant: number;
  /** [Z y]' V^-1 [Z y], 3 x 3. */
  readonly normal: Float64Array;
  /** With E = Z' V^-1 [Z y] of a group, the sums of e_a e_b' made symmetric for (0,0), (1,0), (1,1); 3 x 3 each. */
  readonly spreads: readonly Float64Array[];
}

/**
 * Eliminates the random effects of the groups `from` up to, not including, `to`. With A = Z'Z and S = L L',
 * Z'V^-1 Z = (A + |A| adj S) / d and Z'V^-1 y = (Z'y + adj S adj A Z'y) / d, where
 * d = |I + A S| = 1 + tr(A S) + |A| |S|. Null where the factors are so large that this breaks down.
 *
 * @param factor L, row-major 2 x 2
 * @param squares y'y of the groups
 */
export function eliminatePairs(
  products: Float64Array,
  from: number,
  to: number,
  factor: Float64Array,
  squares: number,
): PairedElimination | null {
  const [l11 = 0, l12 = 0, l21 = 0, l22 = 0] = factor;
  const s11 = l11 * l11 + l12 * l12;
  const s12 = l11 * l21 + l12 * l22;
  const s22 = l21 * l21 + l22 * l22;
  const volume = (l11 * l22 - l12 * l21) ** 2;
  let [d11, d12, d22, h1, h2] = [0, 0, 0, 0, 0];
  let [d11d11, d12d11, d12d12, d22d11, d22d12, d22d22] = [0, 0, 0, 0, 0, 0];
  let [h1d11, h1d12, h1d22, h2d11, h2d12, h2d22] = [0, 0, 0, 0, 0, 0];
  let [h1h1, h2h1, h2h2] = [0, 0, 0];
  let explained = 0;
  let logDeterminant = 0;
  let determinants = 1;
  for (let at = STRIDE * from; at < STRIDE * to; at += STRIDE) {
    const a11 = products[at] ?? 0;
    const a12 = products[at + 1] ?? 0;
    const a22 = products[at + 2] ?? 0;
    const y1 = products[at + 3] ?? 0;
    const y2 = products[at + 4] ?? 0;
    const area = Math.max(0, a11 * a22 - a12 * a12);
    const determinant = 1 + a11 * s11 + 2 * a12 * s12 + a22 * s22 + area * volume;
    if (!(determinant > 0 && determinant < LARGEST_PRODUCT)) return null;
    determinants *= determinant;
    if (determinants > LARGEST_PRODUCT) {
      logDeterminant += Math.log(determinants);
      determinants = 1;
    }
    const share = 1 / determinant;
    const z11 = (a11 + area * s22) * share;
    const z12 = (a12 - area * s12) * share;
    const z22 = (a22 + area * s11) * share;
    const t1 = a22 * y1 - a12 * y2;
    const t2 = a11 * y2 - a12 * y1;
    const g1 = (y1 + s22 * t1 - s12 * t2) * share;
    const g2 = (y2 + s11 * t2 - s12 * t1) * share;
    d11 += z11;
    d12 += z12;
    d22 += z22;
    h1 += g1;
    h2 += g2;
    explained += y1 * (s11 * g1 + s12 * g2) + y2 * (s12 * g1 + s22 * g2);
    d11d11 += z11 * z11;
    d12d11 += z12 * z11;
    d12d12 += z12 * z12;
    d22d11 += z22 * z11;
    d22d12 += z22 * z12;
    d22d22 += z22 * z22;
    h1d11 += g1 * z11;
    h1d12 += g1 * z12;
    h1d22 += g1 * z22;
    h2d11 += g2 * z11;
    h2d12 += g2 * z12;
    h2d22 += g2 * z22;
    h1h1 += g1 * g1;
    h2h1 += g2 * g1;
    h2h2 += g2 * g2;
  }
  const mixed = (d22d11 + d12d12) / 2;
  const crossed = (h2d12 + h1d22) / 2;
  const turned = (h2d11 + h1d12) / 2;
  return {
    logDeterminant: logDeterminant + Math.log(determinants),
    normal: symmetric(d11, d12, d22, h1, h2, squares - explained),
    spreads: [
      symmetric(d11d11, d12d11, d12d12, h1d11, h1d12, h1h1),
      symmetric(d12d11, mixed, d22d12, turned, crossed, h2h1),
      symmetric(d12d12, d22d12, d22d22, h2d12, h2d22, h2h2),
    ],
  };
}

/** A symmetric 3 x 3 matrix from its lower triangle, row-major. */
function symmetric(
  a11: number,
  a21: number,
  a22: number,
  a31: number,
  a32: number,
  a33: number,
): Float64Array {
  return Float64Array.of(a11, a21, a31, a21, a22, a32, a31, a32, a33);
}

/** A 3 x 3 matrix of [Z y] as one of [C Q y], width x width. */
export function ofAllColumns(matrix: Float64Array, combination: Float64Array): Float64Array {
  const width = combination.length / 3;
  const turned = transpose(combination, 3, width);
  return multiply(turned, multiply(matrix, combination, 3, 3, width), width, 3, width);
}
