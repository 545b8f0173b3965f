import { join } from 'node:path';
import { createStore, openStore } from '@longhold/desktop/host/store';
import { connect } from '@longhold/desktop/host/store/database';
import { readMasterKey } from '@longhold/desktop/host/store/key-file';
import { deriveStoreKeys } from '@longhold/desktop/host/store/store-keys';
import {
  AUTHORSHIP,
  importOf,
  inventedStudy,
  MIGRATIONS_FOLDER,
  PASSPHRASE,
  storeOptions,
  temporaryFolder,
} from '@longhold/desktop/host/store/store.fixture';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { bundlePrograms, type ChildPrograms } from './child-programs';

const folder = temporaryFolder(afterAll);
let programs: ChildPrograms;

beforeAll(async () => {
  programs = await bundlePrograms(['add-own-patients']);
});
afterAll(() => programs.remove());

describe('Several programs on one store', () => {
  it('all write without losing anything, while another reads only whole imports', async () => {
    const path = join(folder, 'shared.longhold');
    const watching = await createStore(storeOptions(path));
    const seeds = [31, 32, 33];
    const runs = seeds.map((seed) =>
      programs.start('add-own-patients', [path, MIGRATIONS_FOLDER, String(seed)]),
    );
    const all = Promise.all(runs.map(({ ended }) => ended));
    let done = false;
    void all.then(() => (done = true));
    while (!done) {
      const study = await watching.readStudy();
      expect(study).toHaveLength(watching.revision());
      await new Promise((resolve) => setTimeout(resolve, 20));
    }
    for (const { errors, exitCode } of await all)
      expect({ errors, exitCode }).toEqual({ errors: '', exitCode: 0 });
    expect(await watching.readStudy()).toEqual(seeds.flatMap((seed) => inventedStudy(20, seed)));
    await watching.verify();
    await watching.close();
    const again = await openStore(storeOptions(path));
    expect(again.revision()).toBe(60);
    await again.close();
  });

  it('a program that cannot write in time is told that the store is busy, and can read meanwhile', async () => {
    const path = join(folder, 'busy.longhold');
    await (await createStore(storeOptions(path))).close();
    const store = await openStore({ ...storeOptions(path), busyTimeout: 100 });
    const keys = deriveStoreKeys(await readMasterKey(path, PASSPHRASE));
    const other = connect(path, keys.cipherKey, 100);
    const [history] = inventedStudy(1, 1);
    if (history === undefined) throw new Error('no patient was invented');
    await other.write(async () => {
      const attempt = store.applyImport(importOf([], [history]));
      await expect(attempt).rejects.toMatchObject({ code: 'store-busy' });
      expect(await store.readStudy()).toEqual([]);
    });
    other.disconnect();
    // What the other program wrote in between is seen, and writing goes on.
    const third = await openStore(storeOptions(path));
    await third.applyImport(importOf([], [history]));
    await third.close();
    expect(await store.readStudy()).toEqual([history]);
    const event = { code: history.patient.code, date: '2022-03-04', event: 'moved', ...AUTHORSHIP } as const;
    await store.recordEvent(event);
    expect(store.revision()).toBe(2);
    await store.close();
  });
});
