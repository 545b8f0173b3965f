import { checkColumn, READING, refuse, type Refusal } from '../numeric';

/** A confidence level, or the share that limits of agreement hold: strictly between 0 and 1. */
export function checkShare(name: string, share: number): Refusal | null {
  if (share > 0 && share < 1) return null;
  return refuse('wrong-level', `${name} is ${share}; it must lie between 0 and 1, as 0.95 does.`);
}

/**
 * Second minus first of each pair. Differences that only rounding tells apart, as 76.6 - 76.2 and 78.7 - 78.3, are made
 * equal, so that data without spread are known as such.
 */
export function pairDifferences(first: ArrayLike<number>, second: ArrayLike<number>): number[] {
  const differences = Array.from(first, (value, i) => (second[i] ?? NaN) - value);
  const reference = differences[0] ?? NaN;
  const rounding = 4 * Number.EPSILON * Math.max(largestSize(first), largestSize(second));
  const equal = differences.every((difference) => Math.abs(difference - reference) <= rounding);
  return equal ? differences.fill(reference) : differences;
}

/** The largest absolute value of a column; 0 for an empty one. */
export function largestSize(values: ArrayLike<number>): number {
  let largest = 0;
  for (let i = 0; i < values.length; i++) largest = Math.max(largest, Math.abs(values[i] ?? NaN));
  return largest;
}

/** Two columns of finite readings, equally long, with at least `fewest` rows. */
export function checkPairs(
  first: ArrayLike<number>,
  second: ArrayLike<number>,
  fewest: number,
): Refusal | null {
  const wrong = checkColumn('first', first, READING) ?? checkColumn('second', second, READING, first.length);
  if (wrong !== null) return wrong;
  if (first.length >= fewest) return null;
  return refuse('too-few', `There are ${first.length} pairs; at least ${fewest} are needed.`);
}
