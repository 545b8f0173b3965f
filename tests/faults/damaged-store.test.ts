import { cpSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { createRandom } from '@longhold/core/numeric';
import { createStore } from '@longhold/desktop/host/store';
import {
  AUTHORSHIP,
  importOf,
  inventedStudy,
  MIGRATIONS_FOLDER,
  storeOptions,
  temporaryFolder,
} from '@longhold/desktop/host/store/store.fixture';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { bundlePrograms, type ChildPrograms } from './child-programs';
import { FAULT_ROUNDS } from './rounds';

const PAGE_BYTES = 4096;
const BLOCK_BYTES = 16;
const folder = temporaryFolder(afterAll);
const whole = join(folder, 'whole.longhold');
let programs: ChildPrograms;

beforeAll(async () => {
  programs = await bundlePrograms(['open-damaged']);
  const store = await createStore(storeOptions(whole));
  await store.applyImport(importOf([], inventedStudy(12, 1)));
  await store.writeSetting('demo', { today: '2024-05-05' }, AUTHORSHIP);
  await store.close();
});
afterAll(() => programs.remove());

// In a process of its own: garbled text once made the database driver end the whole process.
async function flipAndRead(name: string, positions: readonly number[]): Promise<Map<string, number>> {
  const path = join(folder, `${name}.longhold`);
  cpSync(whole, path);
  cpSync(`${whole}.key`, `${path}.key`);
  const program = programs.start('open-damaged', [path, MIGRATIONS_FOLDER], {
    input: JSON.stringify(positions),
  });
  const { output, errors, exitCode } = await program.ended;
  const lines = output.trim().split('\n');
  expect({ errors, exitCode, lines: lines.length }).toEqual({
    errors: '',
    exitCode: 0,
    lines: positions.length,
  });
  const counts = new Map<string, number>();
  for (const line of lines) {
    const outcome = line.slice(line.indexOf(' ') + 1);
    counts.set(outcome, (counts.get(outcome) ?? 0) + 1);
  }
  return counts;
}

it('A bit flipped in each block of the first page is refused as damage, or was in unused space', async () => {
  const blocks = Array.from(
    { length: PAGE_BYTES / BLOCK_BYTES },
    (_unused, block) => block * BLOCK_BYTES + 3,
  );
  const counts = await flipAndRead('first page', blocks);
  expect([...counts.keys()].filter((outcome) => outcome !== 'same' && outcome !== 'store-damaged')).toEqual(
    [],
  );
});

it(`A bit flipped at ${FAULT_ROUNDS * 10} random places is refused as damage, or was in unused space`, async () => {
  const random = createRandom(99);
  const size = statSync(whole).size;
  const counts = await flipAndRead(
    'anywhere',
    Array.from({ length: FAULT_ROUNDS * 10 }, () => random.integer(size)),
  );
  expect([...counts.keys()].filter((outcome) => outcome !== 'same' && outcome !== 'store-damaged')).toEqual(
    [],
  );
  expect(counts.get('store-damaged') ?? 0).toBeGreaterThan(FAULT_ROUNDS * 3);
});
