import type { GroupOrder } from './group-order';

/**
 * All that the likelihood needs of the data: sums of products within each group, in flat buffers. Each
 * evaluation of the likelihood then costs one pass over the groups, however many visits they have.
 * Columns are numbered: the r outer random effects, the p fixed effects, the response; `width` = r + p + 1.
 */
export interface CrossProducts {
  /** Random effects a group (q), random effects an outer group (r, 0 where nothing is nested), fixed effects (p). */
  readonly q: number;
  readonly r: number;
  readonly p: number;
  readonly width: number;
  readonly responses: number;
  readonly groups: number;
  /** Outer group o has the groups `outerStart[o]` up to, not including, `outerStart[o + 1]`; one outer group of all where nothing is nested. */
  readonly outerStart: Int32Array;
  /** Z'Z of each group, q x q. */
  readonly zz: Float64Array;
  /** The columns that are not all zero in group g: `columns[columnStart[g]]` up to `columns[columnStart[g + 1] - 1]`. */
  readonly columnStart: Int32Array;
  readonly columns: Int32Array;
  /** Z'W of each group, q rows of its used columns; starts at q * columnStart[g]. */
  readonly zw: Float64Array;
  /** W'W of each outer group, width x width, lower triangle. */
  readonly ww: Float64Array;
  /** All columns of W but the response as Z times this matrix, q x (r + p); null where they are others than Z's. */
  readonly fromRandom: Float64Array | null;
}

/** Sums the products. All columns are weighted already; their entries stand in the order of the data. */
export function crossProducts(
  order: GroupOrder,
  random: readonly Float64Array[],
  outer: readonly Float64Array[],
  fixed: readonly Float64Array[],
  response: Float64Array,
  fromRandom: Float64Array | null,
): CrossProducts {
  const q = random.length;
  const all = [...outer, ...fixed, response];
  const width = all.length;
  const groups = order.groupStart.length - 1;
  const outers = order.outerStart.length - 1;
  const { columnStart, columns } = usedColumns(order, all, outer.length, fixed.length);
  const sums: CrossProducts = {
    q,
    r: outer.length,
    p: fixed.length,
    width,
    responses: response.length,
    groups,
    outerStart: order.outerStart,
    zz: new Float64Array(groups * q * q),
    columnStart,
    columns,
    zw: new Float64Array(q * columns.length),
    ww: new Float64Array(outers * width * width),
    fromRandom,
  };
  const zRow = new Float64Array(q);
  const wRow = new Float64Array(width);
  for (let o = 0; o < outers; o++) {
    for (let g = order.outerStart[o] ?? 0; g < (order.outerStart[o + 1] ?? 0); g++) {
      const first = columnStart[g] ?? 0;
      const used = (columnStart[g + 1] ?? 0) - first;
      for (let at = order.groupStart[g] ?? 0; at < (order.groupStart[g + 1] ?? 0); at++) {
        const row = order.rows[at] ?? 0;
        for (let a = 0; a < q; a++) zRow[a] = random[a]?.[row] ?? 0;
        for (let k = 0; k < used; k++) wRow[k] = all[columns[first + k] ?? 0]?.[row] ?? 0;
        addToGroup(sums, g, zRow, wRow);
        addToOuter(sums, o, g, wRow);
      }
    }
  }
  return sums;
}

/** Adds the products of one row, z and its group's used columns w, to Z'Z and Z'W. */
function addToGroup(
  { q, columnStart, zz, zw }: CrossProducts,
  g: number,
  z: Float64Array,
  w: Float64Array,
): void {
  const first = columnStart[g] ?? 0;
  const used = (columnStart[g + 1] ?? 0) - first;
  for (let a = 0; a < q; a++) {
    const left = z[a] ?? 0;
    const zzAt = (g * q + a) * q;
    const zwAt = q * first + a * used;
    for (let b = 0; b < q; b++) zz[zzAt + b] = (zz[zzAt + b] ?? 0) + left * (z[b] ?? 0);
    for (let k = 0; k < used; k++) zw[zwAt + k] = (zw[zwAt + k] ?? 0) + left * (w[k] ?? 0);
  }
}

/** Adds the products of one row to W'W of its outer group. */
function addToOuter(
  { width, columnStart, columns, ww }: CrossProducts,
  o: number,
  g: number,
  w: Float64Array,
): void {
  const first = columnStart[g] ?? 0;
  const used = (columnStart[g + 1] ?? 0) - first;
  for (let k = 0; k < used; k++) {
    const left = w[k] ?? 0;
    const rowAt = o * width * width + (columns[first + k] ?? 0) * width;
    for (let l = 0; l <= k; l++) {
      const place = rowAt + (columns[first + l] ?? 0);
      ww[place] = (ww[place] ?? 0) + left * (w[l] ?? 0);
    }
  }
}

/** Only fixed effects may be left out of a group: curves of one sex are zero throughout in the other's groups. */
function usedColumns(
  order: GroupOrder,
  all: readonly Float64Array[],
  outer: number,
  fixed: number,
): { columnStart: Int32Array; columns: Int32Array } {
  const groups = order.groupStart.length - 1;
  const columnStart = new Int32Array(groups + 1);
  const columns = new Int32Array(groups * all.length);
  let count = 0;
  for (let g = 0; g < groups; g++) {
    for (const [number, column] of all.entries()) {
      const isFixed = number >= outer && number < outer + fixed;
      if (!isFixed || isUsed(order, g, column)) columns[count++] = number;
    }
    columnStart[g + 1] = count;
  }
  return { columnStart, columns: columns.slice(0, count) };
}

function isUsed(order: GroupOrder, group: number, column: Float64Array): boolean {
  for (let at = order.groupStart[group] ?? 0; at < (order.groupStart[group + 1] ?? 0); at++) {
    if (column[order.rows[at] ?? 0] !== 0) return true;
  }
  return false;
}
