import { checkColumn, READING, refuse, type Refusal } from '../numeric';

/** A confidence level, or the share that limits of agreement hold: strictly between 0 and 1. */
export function checkShare(name: string, share: number): Refusal | null {
  if (share > 0 && share < 1) return null;
  return refuse('wrong-level', `${name} is ${share}; it must lie between 0 and 1, as 0.95 does.`);
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
