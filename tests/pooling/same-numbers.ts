import { expect } from 'vitest';

/** Numbers of two ways to the same answer may differ by rounding in another order of adding. */
const SAME_TO = 1e-9;

/** A pooled answer with centres by number in place of their ids, so that two studies can be compared. */
export function numbered(view: unknown, members: readonly string[]): unknown {
  let text = JSON.stringify(view);
  members.forEach((member, index) => (text = text.replaceAll(member, `centre ${index}`)));
  return inOrder(JSON.parse(text));
}

/** Lists of centres in the order of their numbers. */
export function inOrder(value: unknown): unknown {
  if (Array.isArray(value)) {
    const items = value.map(inOrder);
    const isOfCentres = items.every((item) =>
      String(Reflect.get(Object(item), 'centre')).startsWith('centre '),
    );
    const centreOf = (item: unknown): string => String(Reflect.get(Object(item), 'centre'));
    return isOfCentres ? items.sort((a, b) => (centreOf(a) < centreOf(b) ? -1 : 1)) : items;
  }
  if (value === null || typeof value !== 'object') return value;
  return Object.fromEntries(Object.entries(value).map(([key, inner]) => [key, inOrder(inner)]));
}

/** Compares number by number; returns how many numbers with decimals were compared. */
export function expectSame(actual: unknown, expected: unknown, where = 'view'): number {
  if (typeof expected === 'number' && typeof actual === 'number') {
    const off = Math.abs(actual - expected) / Math.max(1, Math.abs(expected));
    expect(off, `${where}: ${actual} and ${expected}`).toBeLessThan(SAME_TO);
    return Number.isInteger(expected) ? 0 : 1;
  }
  if (expected === null || typeof expected !== 'object') {
    expect(actual, where).toBe(expected);
    return 0;
  }
  expect(Object.keys(Object(actual)).sort(), where).toEqual(Object.keys(expected).sort());
  return Object.entries(expected).reduce(
    (sum, [key, inner]) => sum + expectSame(Reflect.get(Object(actual), key), inner, `${where}.${key}`),
    0,
  );
}
