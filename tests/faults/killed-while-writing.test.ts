import { existsSync, readdirSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { isDeepStrictEqual } from 'node:util';
import { setTimeout as pause } from 'node:timers/promises';
import { createRandom } from '@longhold/core/numeric';
import { createStore, openStore, StoreError, type Store } from '@longhold/desktop/host/store';
import { MIGRATIONS_FOLDER, storeOptions, temporaryFolder } from '@longhold/desktop/host/store/store.fixture';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { bundlePrograms, type ChildPrograms } from './child-programs';
import { auditEntriesAfter, studyAfter } from './programs/growing-study';
import { FAULT_ROUNDS } from './rounds';

// A killed process loses what it kept in memory; what it gave to the system stays. The cut of the power, which also
// takes what the system had not yet written, is not tried here: against it stands the flush at each commit.

const ROUNDS_PER_STORE = 8;
const folder = temporaryFolder(afterAll);
let programs: ChildPrograms;

beforeAll(async () => {
  programs = await bundlePrograms(['import-until-stopped', 'create-and-say']);
});
afterAll(() => programs.remove());

it(
  `A store whose program was killed at ${FAULT_ROUNDS} random moments holds every acknowledged import and no part of another`,
  async () => {
    const random = createRandom(20260301);
    let landedInsideImports = 0;
    let path = '';
    for (let round = 0; round < FAULT_ROUNDS; round++) {
      if (round % ROUNDS_PER_STORE === 0) {
        path = join(folder, `clinic ${round}.longhold`);
        await (await createStore(storeOptions(path))).close();
      }
      const acknowledged = await importAndKill(path, 250 + random.integer(350));
      const store = await openStore(storeOptions(path));
      const imports = store.revision();
      if (acknowledged !== null) {
        expect(imports).toBeGreaterThanOrEqual(acknowledged);
        expect(imports).toBeLessThanOrEqual(acknowledged + 1);
        landedInsideImports++;
      }
      await expectWhole(store, imports);
      await store.close();
    }
    expect(landedInsideImports).toBeGreaterThan(FAULT_ROUNDS / 3);
  },
  20_000 + 6_000 * FAULT_ROUNDS,
);

it('A program killed while creating a store leaves a whole store, or none and nothing in the way of data', async () => {
  const random = createRandom(7);
  const rounds = Math.ceil(FAULT_ROUNDS / 2);
  for (let round = 0; round < rounds; round++) {
    const path = join(folder, `new ${round}.longhold`);
    const { process: child, ended } = programs.start('create-and-say', [path, MIGRATIONS_FOLDER]);
    await new Promise((resolve) => child.stdout?.once('data', resolve));
    await pause(random.uniform() * 30);
    child.kill('SIGKILL');
    const promised = (await ended).output.includes('created');
    if (existsSync(path)) await (await openStore(storeOptions(path))).close();
    else expect(promised).toBe(false);
    for (const name of readdirSync(folder)) if (name.startsWith('new ')) rmSync(join(folder, name));
  }
}, 120_000);

/** Lets a program import until it is killed; the number of the last import it was told is kept, if any. */
async function importAndKill(path: string, milliseconds: number): Promise<number | null> {
  const { process: child, ended } = programs.start('import-until-stopped', [
    path,
    MIGRATIONS_FOLDER,
    '100000',
  ]);
  await pause(milliseconds);
  child.kill('SIGKILL');
  const { output, errors } = await ended;
  expect(errors).toBe('');
  expect(output).not.toContain('refused');
  const numbers = [...output.matchAll(/^acknowledged (\d+)$/gm)].map((match) => Number(match[1]));
  return numbers[numbers.length - 1] ?? null;
}

async function expectWhole(store: Store, imports: number): Promise<void> {
  try {
    await store.verify();
  } catch (thrown) {
    throw thrown instanceof StoreError ? new Error(`damaged after the kill: ${thrown.message}`) : thrown;
  }
  expect(isDeepStrictEqual(await store.readStudy(), studyAfter(imports))).toBe(true);
  const [newest] = await store.auditTrail({ limit: 1 });
  expect(newest?.id ?? 0).toBe(auditEntriesAfter(imports));
}
