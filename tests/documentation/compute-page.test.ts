import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { COMPUTE_METHODS } from '@longhold/core/compute';

const PROGRAM = new URL('../../apps/desktop/dist/cli/longhold.cjs', import.meta.url).pathname;
const PAGE = readFileSync(new URL('../../docs/compute.md', import.meta.url), 'utf8');

interface WorkedCall {
  readonly method: string;
  readonly input: string;
  readonly answer: string;
}

/** Every call on the page with the answer printed below it. */
function workedCalls(page: string): WorkedCall[] {
  const call = /```sh\nlonghold compute (\S+) <<'JSON'\n([\s\S]*?)\nJSON\n```\n\n```json\n([\s\S]*?)\n```/g;
  return [...page.matchAll(call)].map(([, method = '', input = '', answer = '']) => ({
    method,
    input,
    answer,
  }));
}

function longhold(words: readonly string[], input: string): Record<string, unknown> {
  const out = execFileSync(process.execPath, [PROGRAM, ...words], {
    input,
    encoding: 'utf8',
    timeout: 30_000,
  });
  return JSON.parse(out) as Record<string, unknown>;
}

/** Numbers of two JSON values agree to nine digits: Node versions differ in the last bits of exp and log. */
function expectSame(actual: unknown, printed: unknown, path: string): void {
  if (typeof actual === 'number' && typeof printed === 'number') {
    const near = Math.abs(actual - printed) <= 1e-9 * Math.max(Math.abs(printed), 1e-6);
    expect(near, `${path}: the program says ${actual}, the page ${printed}`).toBe(true);
    return;
  }
  if (typeof actual === 'object' && actual !== null && typeof printed === 'object' && printed !== null) {
    expect(Object.keys(actual), `keys of ${path}`).toEqual(Object.keys(printed));
    const expected = new Map<string, unknown>(Object.entries(printed));
    for (const [key, value] of Object.entries(actual)) expectSame(value, expected.get(key), `${path}.${key}`);
    return;
  }
  expect(actual, path).toBe(printed);
}

const calls = workedCalls(PAGE);
const methods = COMPUTE_METHODS.flatMap((subject) => subject.methods);

describe('docs/compute.md', () => {
  it('shows one worked call of every method, in the order of the list', () => {
    expect(calls.map(({ method }) => method)).toEqual(methods.map(({ name }) => name));
  });

  it.each(calls)('is right about $method', { timeout: 30_000 }, ({ method, input, answer }) => {
    const printed = longhold(['compute', method], input);
    expect(printed['method']).toBe(method);
    expectSame(printed['answer'], JSON.parse(answer), 'answer');
  });

  it.each(methods)('says the meaning of every key that $name answers', ({ example, answer, call }) => {
    const outcome = call(example.input);
    const keys = 'answer' in outcome ? Object.keys(outcome.answer ?? {}) : [];
    expect(keys.sort()).toEqual(Object.keys(answer).sort());
  });
});
