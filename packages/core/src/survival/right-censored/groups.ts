import { refuse, type Refusal } from '../../numeric';

/** What a group or a stratum is called by the caller. */
export type GroupLabel = string | number;

/** A column of labels, numbered. */
export interface NumberedGroups {
  /** Different labels in rising order: numbers first, then texts by their code points. */
  readonly labels: readonly GroupLabel[];
  /** For each row the position of its label. */
  readonly numbers: Uint32Array;
}

/**
 * Numbers the labels of a column.
 *
 * @param name as the caller knows the column
 * @param rows length wanted
 */
export function numberGroups(
  name: string,
  column: ArrayLike<GroupLabel>,
  rows: number,
): NumberedGroups | Refusal<'wrong-length' | 'wrong-value'> {
  if (column.length !== rows) {
    return refuse('wrong-length', `${name} has ${column.length} entries where ${rows} are needed.`);
  }
  const met = new Map<GroupLabel, number>();
  const numbers = new Uint32Array(rows);
  let label = column[0];
  let number = 0;
  for (let i = 0; i < rows; i++) {
    const next = column[i];
    if (i === 0 || next !== label) {
      if (next === undefined || (typeof next === 'number' && !Number.isFinite(next))) {
        return refuse('wrong-value', `${name}[${i}] is ${next}; it must be a text or a finite number.`);
      }
      label = next;
      number = met.get(next) ?? met.size;
      met.set(next, number);
    }
    numbers[i] = number;
  }
  return inRisingOrder(met, numbers);
}

function inRisingOrder(met: ReadonlyMap<GroupLabel, number>, numbers: Uint32Array): NumberedGroups {
  const labels = [...met.keys()].sort(compareLabels);
  const place = new Uint32Array(labels.length);
  labels.forEach((label, position) => (place[met.get(label) ?? 0] = position));
  for (let i = 0; i < numbers.length; i++) numbers[i] = place[numbers[i] ?? 0] ?? 0;
  return { labels, numbers };
}

function compareLabels(a: GroupLabel, b: GroupLabel): number {
  if (typeof a === 'number' && typeof b === 'number') return a - b;
  if (typeof a !== typeof b) return typeof a === 'number' ? -1 : 1;
  return a < b ? -1 : 1;
}
