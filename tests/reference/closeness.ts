import { expect } from 'vitest';

/** Fails unless `actual` lies within `tolerance` of `expected`, absolute. `what` names the number in the message. */
export function expectWithin(actual: number, expected: number, tolerance: number, what = 'the number'): void {
  const message = `${what}: ${actual} should be ${expected} to within ${tolerance}`;
  expect(Math.abs(actual - expected) <= tolerance, message).toBe(true);
}

/** As `expectWithin`, with the tolerance relative to `expected` (absolute below `smallest`). */
export function expectClose(
  actual: number,
  expected: number,
  tolerance: number,
  what = 'the number',
  smallest = 1e-300,
): void {
  expectWithin(actual, expected, tolerance * Math.max(Math.abs(expected), smallest), what);
}

/** Every number of a list, in order. */
export function expectAllClose(
  actual: readonly number[],
  expected: readonly number[],
  tolerance: number,
  what = 'the list',
  smallest = 1e-300,
): void {
  expect(actual.length, `length of ${what}`).toBe(expected.length);
  expected.forEach((value, i) => expectClose(actual[i] ?? NaN, value, tolerance, `${what}[${i}]`, smallest));
}
