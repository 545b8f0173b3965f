import { checkColumn, NOT_NEGATIVE, refuse, risingOrder, type ColumnRule, type Refusal } from '../../numeric';

/** Times of which each is an event or the end of observation; one entry a row in every column. */
export interface RightCensoredTimes {
  /** Time of the event or of the end of observation, in any unit; 0 or more. */
  readonly time: ArrayLike<number>;
  /** 1: the event happened at `time`; 0: it had not happened by then. */
  readonly event: ArrayLike<number>;
  /**
   * Time after which the row is under observation (left truncation): it is at risk at t when entry < t <= time.
   * Default: from the start on.
   */
  readonly entry?: ArrayLike<number> | undefined;
  /** How often the row was observed: whole numbers, 0 or more. Default: once. */
  readonly weights?: ArrayLike<number> | undefined;
}

export type TimesRefusal = Refusal<'no-rows' | 'wrong-length' | 'wrong-value' | 'entry-not-before-time'>;

const ONE_OR_ZERO: ColumnRule = {
  holds: (value) => value === 0 || value === 1,
  must: '1 (event) or 0 (censored)',
};
const FREQUENCY: ColumnRule = {
  holds: (value) => Number.isSafeInteger(value) && value >= 0,
  must: 'a whole number, 0 or more: how often the row was observed',
};

/** What is wrong with the columns, or null. */
export function checkTimes(columns: RightCensoredTimes): TimesRefusal | null {
  return checkObservation(columns) ?? checkColumn('event', columns.event, ONE_OR_ZERO, columns.time.length);
}

/** What is wrong with times, entries and weights, whatever the kind of event; or null. */
export function checkObservation({
  time,
  entry,
  weights,
}: Omit<RightCensoredTimes, 'event'>): TimesRefusal | null {
  const rows = time.length;
  if (rows === 0) return refuse('no-rows', 'time is empty; at least one row is needed.');
  const fault =
    checkColumn('time', time, NOT_NEGATIVE) ??
    (entry === undefined
      ? null
      : (checkColumn('entry', entry, NOT_NEGATIVE, rows) ?? entryFault(entry, time))) ??
    (weights === undefined ? null : checkColumn('weights', weights, FREQUENCY, rows));
  if (fault !== null) return fault;
  if (weights !== undefined && Array.prototype.every.call(weights, (weight) => weight === 0)) {
    return refuse('no-rows', 'All weights are 0, so nobody was observed; at least one must be above 0.');
  }
  return null;
}

function entryFault(
  entry: ArrayLike<number>,
  time: ArrayLike<number>,
): Refusal<'entry-not-before-time'> | null {
  for (let i = 0; i < time.length; i++) {
    if ((entry[i] ?? NaN) < (time[i] ?? NaN)) continue;
    return refuse(
      'entry-not-before-time',
      `entry[${i}] is ${entry[i]} and time[${i}] is ${time[i]}; entry must come before time.`,
    );
  }
  return null;
}

/** Rows in rising order of time, and of entry. Rows with weight 0 are left out. */
export interface OrderedTimes {
  readonly time: Float64Array;
  /** 0: censored; 1 and above: which kind of event. */
  readonly kind: Uint32Array;
  /** Number of the row's group; null where all are one group. */
  readonly group: Uint32Array | null;
  /** Null where every row counts once. */
  readonly weight: Float64Array | null;
  /** The same rows by rising entry; null where nobody enters late. */
  readonly entering: {
    readonly time: Float64Array;
    readonly group: Uint32Array | null;
    readonly weight: Float64Array | null;
  } | null;
}

/** Columns ready for ordering: kinds and groups numbered, everything checked. */
export interface NumberedColumns {
  readonly time: ArrayLike<number>;
  readonly kind: ArrayLike<number>;
  readonly group?: Uint32Array | undefined;
  readonly stratum?: Uint32Array | undefined;
  readonly entry?: ArrayLike<number> | undefined;
  readonly weights?: ArrayLike<number> | undefined;
}

/** How many different times there are. */
export function distinctTimes({ time }: OrderedTimes): number {
  let distinct = time.length === 0 ? 0 : 1;
  for (let k = 1; k < time.length; k++) if (time[k] !== time[k - 1]) distinct++;
  return distinct;
}

/** Sorts once. */
export function orderTimes(columns: NumberedColumns): OrderedTimes {
  const order = present(risingOrder(columns.time), columns.weights);
  return orderedRows(columns, order, entryOrder(columns));
}

/** Sorts once and deals the rows out to their strata. Strata without rows are left out. */
export function orderTimesByStratum(columns: NumberedColumns, strata: number): OrderedTimes[] {
  const { stratum } = columns;
  if (stratum === undefined) return [orderTimes(columns)];
  const byTime = dealtOut(present(risingOrder(columns.time), columns.weights), stratum, strata);
  const entries = entryOrder(columns);
  const byEntry = entries === null ? null : dealtOut(entries, stratum, strata);
  return byTime.flatMap((order, s) =>
    order.length === 0 ? [] : [orderedRows(columns, order, byEntry?.[s] ?? null)],
  );
}

function entryOrder({ entry, weights }: NumberedColumns): Uint32Array | null {
  return entry === undefined ? null : present(risingOrder(entry), weights);
}

function present(order: Uint32Array, weights: ArrayLike<number> | undefined): Uint32Array {
  return weights === undefined ? order : order.filter((row) => (weights[row] ?? 0) > 0);
}

function dealtOut(order: Uint32Array, stratum: Uint32Array, strata: number): Uint32Array[] {
  const sizes = new Uint32Array(strata);
  for (const row of order) sizes[stratum[row] ?? 0] = (sizes[stratum[row] ?? 0] ?? 0) + 1;
  const parts = Array.from(sizes, (size) => new Uint32Array(size));
  sizes.fill(0);
  for (const row of order) {
    const s = stratum[row] ?? 0;
    const place = sizes[s] ?? 0;
    const part = parts[s];
    if (part !== undefined) part[place] = row;
    sizes[s] = place + 1;
  }
  return parts;
}

function orderedRows(
  { time, kind, group, entry, weights }: NumberedColumns,
  order: Uint32Array,
  byEntry: Uint32Array | null,
): OrderedTimes {
  return {
    time: numbersInOrder(time, order),
    kind: countsInOrder(kind, order),
    group: group === undefined ? null : countsInOrder(group, order),
    weight: weights === undefined ? null : numbersInOrder(weights, order),
    entering:
      entry === undefined || byEntry === null
        ? null
        : {
            time: numbersInOrder(entry, byEntry),
            group: group === undefined ? null : countsInOrder(group, byEntry),
            weight: weights === undefined ? null : numbersInOrder(weights, byEntry),
          },
  };
}

function numbersInOrder(values: ArrayLike<number>, order: Uint32Array): Float64Array {
  const taken = new Float64Array(order.length);
  for (let k = 0; k < order.length; k++) taken[k] = values[order[k] ?? 0] ?? NaN;
  return taken;
}

function countsInOrder(values: ArrayLike<number>, order: Uint32Array): Uint32Array {
  const taken = new Uint32Array(order.length);
  for (let k = 0; k < order.length; k++) taken[k] = values[order[k] ?? 0] ?? 0;
  return taken;
}
