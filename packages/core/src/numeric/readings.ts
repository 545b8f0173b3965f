import type { ColumnRule } from './columns';

/**
 * Numbers whose fourth powers neither overflow nor vanish, so that sums of squares and their products stay numbers. No
 * measurement in any unit is larger or smaller.
 */
export const READING: ColumnRule = {
  holds: (value) => value === 0 || (Math.abs(value) >= 1e-50 && Math.abs(value) <= 1e50),
  must: 'a finite number, 0 or between 1e-50 and 1e50 in size',
};
