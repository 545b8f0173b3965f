import { mkdirSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { findProgram } from './shells/on-this-machine';
import { homeEnvironment, makeHome } from './shells/own-home';
import { startNode, type StartedProgram } from './shells/started-program';

const ADDRESS = /http:\/\/127\.0\.0\.1:(\d+)\/#key=(\S+)\n/;

let home: string;
let remove: () => void;
let program: StartedProgram | null = null;

beforeEach(() => {
  ({ home, remove } = makeHome());
});
afterEach(async () => {
  await program?.end('SIGKILL');
  program = null;
  remove();
});

/** Starts the program as npm does, with a temporary folder of its own that can be looked into. */
function start(words: readonly string[] = []): { program: StartedProgram; temporary: string } {
  const temporary = join(home, 'tmp');
  mkdirSync(temporary);
  const env = { ...homeEnvironment(home, null), TMPDIR: temporary };
  program = startNode(['scripts/start.mjs', ...words], env);
  return { program, temporary };
}

test('without a display one line says why there is no window, and the next is the address', async () => {
  const { program } = start();
  await program.says(ADDRESS);
  const lines = program.output().trimEnd().split('\n');
  expect(lines).toHaveLength(2);
  expect(lines[0]).toMatch(/no window was opened, because there is no display/i);
});

for (const signal of ['SIGINT', 'SIGTERM', 'SIGHUP'] as const) {
  test(`${signal} ends it within a second, in order, and the demo's store is gone`, async () => {
    const { program, temporary } = start();
    await program.says(ADDRESS);
    expect(readdirSync(temporary)).toHaveLength(1);
    const { code, milliseconds } = await program.end(signal);
    expect(code).toBe(0);
    expect(milliseconds).toBeLessThan(1000);
    expect(readdirSync(temporary)).toHaveLength(0);
  });
}

test('the key of the address opens one session and no second one', async () => {
  const { program } = start();
  const [, port, key] = await program.says(ADDRESS);
  const bring = (): Promise<Response> =>
    fetch(`http://127.0.0.1:${port}/session`, { method: 'POST', body: key ?? '' });
  expect((await bring()).status).toBe(204);
  const second = await bring();
  expect(second.status).toBe(403);
  expect(await second.text()).toContain('used already');
});

test('a page opened without a key says what to do instead of showing records', async () => {
  const { program } = start();
  const [, port] = await program.says(ADDRESS);
  const answer = await fetch(`http://127.0.0.1:${port}/rpc/session.state`, { method: 'POST' });
  expect(answer.status).toBe(401);
});

test('a port that is taken is named', async () => {
  const first = start();
  const [, port] = await first.program.says(ADDRESS);
  const second = startNode(['scripts/start.mjs', '--port', port ?? ''], homeEnvironment(home, null));
  await second.says(new RegExp(`Port ${port} is taken`));
  expect((await second.ended()).code).toBe(4);
});

test('ending npm alone, which tells nobody, ends the program too and leaves nothing behind', async () => {
  const temporary = join(home, 'tmp');
  mkdirSync(temporary);
  const npm = process.env['npm_execpath'] ?? findProgram('npm') ?? '';
  const env = { ...homeEnvironment(home, null), TMPDIR: temporary };
  program = startNode([npm, 'start'], env);
  const [, port] = await program.says(ADDRESS);
  await program.end('SIGTERM');
  const answers = (): Promise<boolean> =>
    fetch(`http://127.0.0.1:${port}/`).then(
      () => true,
      () => false,
    );
  await expect.poll(answers, { timeout: 2_000 }).toBe(false);
  const left = (): string[] => readdirSync(temporary).filter((name) => name.startsWith('longhold-'));
  await expect.poll(left, { timeout: 2_000 }).toEqual([]);
});
