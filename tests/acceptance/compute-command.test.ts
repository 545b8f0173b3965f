import { spawnSync } from 'node:child_process';
import { Ajv2020 } from 'ajv/dist/2020';
import { describe, expect, it } from 'vitest';
import { COMPUTE_METHODS } from '@longhold/core/compute';

const PROGRAM = new URL('../../apps/desktop/dist/cli/longhold.cjs', import.meta.url).pathname;
const methods = COMPUTE_METHODS.flatMap((subject) => subject.methods);

function compute(words: readonly string[], input = ''): { code: number | null; out: string; err: string } {
  const run = spawnSync(process.execPath, [PROGRAM, 'compute', ...words], {
    input,
    encoding: 'utf8',
    timeout: 30_000,
  });
  return { code: run.status, out: run.stdout, err: run.stderr };
}

const REMISSION = { time: [6, 6, 6, 7, 10], event: [1, 1, 0, 1, 0] };

describe('longhold compute', () => {
  it('lists every method by subject', () => {
    const { code, out } = compute(['--list']);
    expect(code).toBe(0);
    for (const { subject } of COMPUTE_METHODS) expect(out).toContain(`${subject}\n`);
    for (const { name, summary } of methods) {
      expect(out).toMatch(new RegExp(`^  ${name} `, 'm'));
      expect(out).toContain(summary);
    }
  });

  it('prints a JSON Schema that another validator reads: the example passes, an unknown key does not', () => {
    for (const { name, example, jsonSchema } of methods) {
      const validate = new Ajv2020({ strict: false }).compile(jsonSchema());
      expect(validate(example.input), `${name}: ${JSON.stringify(validate.errors)}`).toBe(true);
      expect(validate({ ...(example.input as object), surplus: 1 }), name).toBe(false);
    }
    const { code, out } = compute(['kaplan-meier', '--schema']);
    expect(code).toBe(0);
    expect(JSON.parse(out)).toEqual(methods.find(({ name }) => name === 'kaplan-meier')?.jsonSchema());
  });

  it('answers with method, version and a fingerprint of the input, twice the same', () => {
    const input = JSON.stringify(REMISSION);
    const first = compute(['kaplan-meier'], input);
    expect(first.code, first.err).toBe(0);
    expect(first.err).toBe('');
    expect(JSON.parse(first.out)).toMatchObject({
      method: 'kaplan-meier',
      version: expect.stringMatching(/^\d+\.\d+\.\d+$/),
      inputFingerprint: expect.stringMatching(/^sha256:[0-9a-f]{64}$/),
    });
    expect(compute(['kaplan-meier'], input).out).toBe(first.out);
  });

  it.each([
    [
      'an unknown key',
      { ...REMISSION, tims: [1] },
      /tims: no such key; did you mean "time"\? \(known here: .*event/,
    ],
    ['a missing column', { time: [1] }, /event: .*expected array/],
    ['a wrong type', { time: ['6'], event: [1] }, /time\[0\]: .*expected number/],
    ['a negative time', { time: [6, -2], event: [1, 1] }, /time\[1\]/],
    ['columns of unequal length', { time: [6, 7], event: [1] }, /event has 1 entries where 2 are needed/],
    ['no rows', { time: [], event: [] }, /time/],
  ])('refuses %s: ends with 1, prints nothing, says where and what is right', (_, input, message) => {
    const { code, out, err } = compute(['kaplan-meier'], JSON.stringify(input));
    expect(code).toBe(1);
    expect(out).toBe('');
    expect(err).toMatch(message);
  });

  it('says where text stops being JSON, and that JSON has no NaN', () => {
    const { code, err } = compute(['kaplan-meier'], '{"time": [6, NaN],\n "event": [1, 1]}');
    expect(code).toBe(1);
    expect(err).toMatch(/not-json[^]*line 1[^]*JSON has no NaN/);
  });

  it('refuses a key that stands twice, of which the later would win', () => {
    const { code, err } = compute(['kaplan-meier'], '{"time": [1],\n "event": [1],\n "time": [2]}');
    expect(code).toBe(1);
    expect(err).toContain('line 3: the key "time" stands there again.');
  });

  it('says so when nothing comes in', () => {
    expect(compute(['kaplan-meier']).err).toContain('Nothing came on the standard input.');
  });

  it('guesses at a misspelt method', () => {
    const { code, err } = compute(['kaplan-maier']);
    expect(code).toBe(2);
    expect(err).toContain('Did you mean kaplan-meier?');
  });

  it('is a misuse to name no method, two, or list and schema at once', () => {
    for (const words of [[], ['kaplan-meier', 'log-rank'], ['--list', '--schema']]) {
      expect(compute(words).code, words.join(' ')).toBe(2);
    }
  });
});
