import type { OrderedTimes } from './times';

/** One distinct time of a sample. One object is filled anew for each visit; nothing of it may be kept. */
export interface Moment {
  time: number;
  /** By group: under observation just before this time. */
  readonly atRisk: Float64Array;
  /** By group, `kinds + 1` numbers each: censored at this time, then events of kind 1, 2, ... */
  readonly counts: Float64Array;
}

/**
 * Shows every distinct time of the rows, rising, with who was at risk and what happened. Times are compared exactly.
 * At equal times events come before censorings and before entries: a row is at risk at t when entry < t <= time.
 *
 * @param groups how many groups `rows.group` numbers; 1 without groups
 * @param kinds how many kinds of event `rows.kind` numbers
 */
export function visitMoments(
  rows: OrderedTimes,
  groups: number,
  kinds: number,
  visit: (moment: Moment) => void,
): void {
  const { time, kind, group, weight, entering } = rows;
  const size = time.length;
  const width = kinds + 1;
  const atRisk = new Float64Array(groups);
  const counts = new Float64Array(groups * width);
  const moment = { time: 0, atRisk, counts };
  if (entering === null) addAll(atRisk, group, weight, size);
  for (let k = 0, entered = 0; k < size;) {
    const now = time[k] ?? NaN;
    if (entering !== null) {
      for (; entered < size && (entering.time[entered] ?? Infinity) < now; entered++) {
        add(atRisk, entering.group?.[entered] ?? 0, entering.weight?.[entered] ?? 1);
      }
    }
    counts.fill(0);
    for (; k < size && time[k] === now; k++) {
      add(counts, (group?.[k] ?? 0) * width + (kind[k] ?? 0), weight?.[k] ?? 1);
    }
    moment.time = now;
    visit(moment);
    for (let g = 0, cell = 0; g < groups; g++) {
      for (const end = cell + width; cell < end; cell++) add(atRisk, g, -(counts[cell] ?? 0));
    }
  }
}

function addAll(
  totals: Float64Array,
  group: Uint32Array | null,
  weight: Float64Array | null,
  size: number,
): void {
  for (let k = 0; k < size; k++) add(totals, group?.[k] ?? 0, weight?.[k] ?? 1);
}

function add(totals: Float64Array, place: number, amount: number): void {
  totals[place] = (totals[place] ?? 0) + amount;
}
