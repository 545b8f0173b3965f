import { risingOrder, type DesignMatrix } from '../../numeric';

/**
 * The rows of a Cox regression, sorted once: stratum by stratum, and in each stratum from the latest time to the
 * earliest, so that a risk set is what has been met so far. Everything indexed by "place" follows that order.
 */
export interface CoxRows {
  readonly rows: number;
  readonly columns: number;
  /** Place to row as given. */
  readonly order: Uint32Array;
  readonly time: Float64Array;
  /** Under observation after this time; null where nobody enters late. */
  readonly entry: Float64Array | null;
  /** 1 for an event at `time`, 0 for censored there. */
  readonly event: Uint8Array;
  readonly weight: Float64Array;
  /** Row by row, `rows * columns`: each column less its `centre`, divided by its `scale`. */
  readonly covariates: Float64Array;
  readonly centre: Float64Array;
  readonly scale: Float64Array;
  /** First place of each stratum, and at the end the number of rows. */
  readonly strataStarts: Uint32Array;
  /** What each stratum is called by the caller, in rising order; one `null` where there are no strata. */
  readonly strata: readonly (string | number | null)[];
  /** In each stratum the places from the latest entry to the earliest; null where nobody enters late. */
  readonly entryOrder: Uint32Array | null;
}

/** Checked columns, all of the same length. */
export interface CoxColumns {
  readonly time: ArrayLike<number>;
  readonly event: ArrayLike<number>;
  readonly entry: ArrayLike<number> | null;
  readonly weights: ArrayLike<number> | null;
  readonly strata: ArrayLike<string | number> | null;
}

/**
 * Sorts the rows. Covariates are centred and scaled: that changes no coefficient once it is scaled back, and keeps
 * the digits of a covariate such as a calendar year.
 */
export function sortCoxRows(columns: CoxColumns, design: DesignMatrix): CoxRows {
  const rows = columns.time.length;
  const strata = numberedStrata(columns.strata, rows);
  const order = inStrata(risingOrder(columns.time).reverse(), strata);
  const weight = take(order, columns.weights);
  const { covariates, centre, scale } = standardised(design, order, weight);
  const entry = columns.entry === null ? null : take(order, columns.entry);
  return {
    rows,
    columns: design.columns,
    order,
    time: take(order, columns.time),
    entry,
    event: new Uint8Array(take(order, columns.event)),
    weight,
    covariates,
    centre,
    scale,
    strataStarts: strata.starts,
    strata: strata.labels,
    entryOrder: entry === null ? null : latestEntryFirst(entry, strata.starts),
  };
}

interface NumberedStrata {
  readonly labels: readonly (string | number | null)[];
  readonly numbers: Uint32Array | null;
  readonly starts: Uint32Array;
}

function numberedStrata(strata: ArrayLike<string | number> | null, rows: number): NumberedStrata {
  if (strata === null) return { labels: [null], numbers: null, starts: Uint32Array.of(0, rows) };
  const labels = risingLabels(strata);
  const place = new Map(labels.map((label, position) => [label, position]));
  const numbers = Uint32Array.from({ length: rows }, (_, row) => place.get(strata[row] ?? NaN) ?? 0);
  const starts = new Uint32Array(labels.length + 1);
  for (const number of numbers) starts[number + 1] = (starts[number + 1] ?? 0) + 1;
  for (let s = 1; s < starts.length; s++) starts[s] = (starts[s] ?? 0) + (starts[s - 1] ?? 0);
  return { labels, numbers, starts };
}

/** Numbers in rising order, then texts by their code points. */
function risingLabels(labels: ArrayLike<string | number>): (string | number)[] {
  return [...new Set(Array.from(labels))].sort((a, b) => {
    if (typeof a === 'number' && typeof b === 'number') return a - b;
    if (typeof a !== typeof b) return typeof a === 'number' ? -1 : 1;
    return a < b ? -1 : 1;
  });
}

/** The same order, stratum by stratum. */
function inStrata(order: Uint32Array, { numbers, starts }: NumberedStrata): Uint32Array {
  if (numbers === null) return order;
  const next = starts.slice();
  const sorted = new Uint32Array(order.length);
  for (const row of order) {
    const stratum = numbers[row] ?? 0;
    const place = next[stratum] ?? 0;
    sorted[place] = row;
    next[stratum] = place + 1;
  }
  return sorted;
}

/** Values in the sorted order; ones where there are none. */
function take(order: Uint32Array, values: ArrayLike<number> | null): Float64Array {
  const taken = new Float64Array(order.length).fill(1);
  if (values !== null) for (let k = 0; k < order.length; k++) taken[k] = values[order[k] ?? 0] ?? NaN;
  return taken;
}

function standardised(
  design: DesignMatrix,
  order: Uint32Array,
  weight: Float64Array,
): { covariates: Float64Array; centre: Float64Array; scale: Float64Array } {
  const { columns, values } = design;
  const centre = new Float64Array(columns);
  const scale = new Float64Array(columns);
  const covariates = new Float64Array(order.length * columns);
  let total = 0;
  for (let k = 0, cell = 0; k < order.length; k++) {
    const w = weight[k] ?? 0;
    const from = (order[k] ?? 0) * columns;
    total += w;
    for (let j = 0; j < columns; j++, cell++) {
      const value = values[from + j] ?? NaN;
      covariates[cell] = value;
      centre[j] = (centre[j] ?? 0) + w * value;
    }
  }
  for (let j = 0; j < columns; j++) centre[j] = (centre[j] ?? 0) / total;
  for (let k = 0, cell = 0; k < order.length; k++) {
    const w = weight[k] ?? 0;
    for (let j = 0; j < columns; j++, cell++) {
      const value = (covariates[cell] ?? 0) - (centre[j] ?? 0);
      covariates[cell] = value;
      scale[j] = (scale[j] ?? 0) + w * value * value;
    }
  }
  for (let j = 0; j < columns; j++) scale[j] = Math.sqrt((scale[j] ?? 0) / total) || 1;
  for (let cell = 0; cell < covariates.length;) {
    for (let j = 0; j < columns; j++, cell++) covariates[cell] = (covariates[cell] ?? 0) / (scale[j] ?? 1);
  }
  return { covariates, centre, scale };
}

function latestEntryFirst(entry: Float64Array, starts: Uint32Array): Uint32Array {
  const order = new Uint32Array(entry.length);
  for (let s = 0; s + 1 < starts.length; s++) {
    const first = starts[s] ?? 0;
    const rising = risingOrder(entry.subarray(first, starts[s + 1] ?? 0));
    for (let k = 0; k < rising.length; k++) order[first + k] = first + (rising[rising.length - 1 - k] ?? 0);
  }
  return order;
}
