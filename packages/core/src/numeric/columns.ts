import { refuse, type Refusal } from './refusal';

/** What the entries of a column must be, in words that complete "must be ...". */
export interface ColumnRule {
  readonly holds: (value: number) => boolean;
  readonly must: string;
}

/** Any number of any size. */
export const FINITE: ColumnRule = { holds: Number.isFinite, must: 'a finite number' };
/** A time since the start, a variance: 0 is allowed. */
export const NOT_NEGATIVE: ColumnRule = {
  holds: (value) => value >= 0 && value < Infinity,
  must: 'a finite number, 0 or more',
};
/** A standard error, a length of time: 0 is not allowed. */
export const POSITIVE: ColumnRule = {
  holds: (value) => value > 0 && value < Infinity,
  must: 'a finite number above 0',
};

/**
 * Checks one column of numbers, entry by entry.
 *
 * @param name as the caller knows the column; the refusal names the first wrong entry as `name[3]`
 * @param length the length wanted, or null where any length is right
 * @returns null where all is well; else a refusal `wrong-length` or `wrong-value`
 */
export function checkColumn(
  name: string,
  values: ArrayLike<number>,
  rule: ColumnRule,
  length: number | null = null,
): Refusal<'wrong-length' | 'wrong-value'> | null {
  if (length !== null && values.length !== length) {
    return refuse('wrong-length', `${name} has ${values.length} entries where ${length} are needed.`);
  }
  for (let i = 0; i < values.length; i++) {
    const value = values[i] ?? NaN;
    if (!rule.holds(value))
      return refuse('wrong-value', `${name}[${i}] is ${value}; it must be ${rule.must}.`);
  }
  return null;
}
