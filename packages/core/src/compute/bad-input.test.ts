import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { COMPUTE_METHODS, type ComputeMethod } from '.';

const methods = COMPUTE_METHODS.flatMap((subject) => subject.methods);

/** Values that break formulas. JSON can hold them all; NaN and Infinity it can't, and these are tried as well. */
const AWKWARD = [0, -1, 1, 1e-300, 1e300, -1e300, 0.5, 2, 1e9, NaN, Infinity, null, '', 'other', true];

/** One way to spoil an input: `at` picks the place, `with` the value; or the list at that place is cut, doubled or levelled. */
const spoilings = fc.array(
  fc.record({
    at: fc.nat(),
    how: fc.constantFrom('replace', 'cut', 'empty', 'double', 'level', 'single', 'remove'),
    value: fc.constantFrom(...AWKWARD),
  }),
  { minLength: 1, maxLength: 3 },
);

interface Slot {
  readonly holder: Record<string, unknown>;
  readonly key: string;
}

/** All places in a JSON value, the whole value excepted. */
function slotsOf(value: unknown): Slot[] {
  if (typeof value !== 'object' || value === null) return [];
  const holder = value as Record<string, unknown>;
  return Object.keys(holder).flatMap((key) => [{ holder, key }, ...slotsOf(holder[key])]);
}

function spoiled(input: unknown, steps: readonly { at: number; how: string; value: unknown }[]): unknown {
  const copy: unknown = structuredClone(input);
  for (const { at, how, value } of steps) {
    const slots = slotsOf(copy);
    const lists = slots.filter(({ holder, key }) => Array.isArray(holder[key]));
    const slot = how === 'replace' || how === 'remove' ? slots[at % slots.length] : lists[at % lists.length];
    if (slot === undefined) continue;
    const { holder, key } = slot;
    const list: unknown = holder[key];
    if (how === 'replace') holder[key] = value;
    else if (how === 'remove' && !Array.isArray(holder)) Reflect.deleteProperty(holder, key);
    else if (Array.isArray(list)) holder[key] = relisted(list, how);
  }
  return copy;
}

function relisted(list: readonly unknown[], how: string): unknown[] {
  if (how === 'empty') return [];
  if (how === 'cut') return list.slice(0, -1);
  if (how === 'single') return list.slice(0, 1);
  if (how === 'double') return [...list, ...list];
  return list.map(() => list[0]);
}

/** Cuts every column of an input to its first rows, so that the lengths still agree. */
function firstRows(input: unknown, rows: number): unknown {
  const entries = Object.entries(input as object).map(([key, value]: [string, unknown]) => [
    key,
    Array.isArray(value) ? value.slice(0, rows) : value,
  ]);
  return Object.fromEntries(entries);
}

/** Answers or refuses with words; throwing, or a number that is not finite, fails. */
function expectAnswerOrRefusal(method: ComputeMethod, input: unknown): void {
  const outcome = method.call(input);
  if ('answer' in outcome) return;
  expect(outcome.fault.refused).toMatch(/^[a-z-]+$/);
  expect(outcome.fault.message.length).toBeGreaterThan(10);
  expect(outcome.fault.message).not.toMatch(/undefined (is|has)|\[object/);
}

/** The fading part fits some sixty models for each of the 150 inputs. */
const SLOW_METHODS_MS = 60_000;

describe.each(methods)('$name', (method) => {
  it('answers or refuses in words, whatever is spoiled in its input', { timeout: SLOW_METHODS_MS }, () => {
    fc.assert(
      fc.property(spoilings, (steps) => expectAnswerOrRefusal(method, spoiled(method.example.input, steps))),
      { numRuns: 150, seed: 1 },
    );
  });

  it('answers or refuses in words for the first rows of its example, down to none', () => {
    for (const rows of [0, 1, 2, 3, 4, 5]) {
      expectAnswerOrRefusal(method, firstRows(method.example.input, rows));
    }
  });

  it('refuses an unknown key and names those it knows', () => {
    const outcome = method.call({ ...(method.example.input as object), surplus: 1 });
    expect('fault' in outcome && outcome.fault.message).toMatch(/^surplus: no such key.*\(known here: \w+/);
  });

  it('refuses what is not an object at all', () => {
    for (const input of [null, 3, 'x', []]) expect(method.call(input)).toHaveProperty('fault');
  });

  it('describes every key of its input', () => {
    const { properties = {} } = method.jsonSchema() as {
      properties?: Record<string, { description?: string }>;
    };
    for (const [key, { description = '' }] of Object.entries(properties)) {
      expect(description.length, key).toBeGreaterThan(5);
    }
  });
});

describe('the methods', () => {
  it('have names of their own', () => {
    expect(new Set(methods.map(({ name }) => name)).size).toBe(methods.length);
  });
});
