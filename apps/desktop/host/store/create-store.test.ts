import { mkdirSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { createStore } from './create-store';
import { contentsOf, storeOptions, temporaryFolder } from './store.fixture';

const folder = temporaryFolder(afterAll);

function newFolder(name: string): string {
  const path = join(folder, name);
  mkdirSync(path);
  return path;
}

describe('Creating a store', () => {
  it('never overwrites a store', async () => {
    const place = newFolder('taken');
    const path = join(place, 'clinic.longhold');
    await (await createStore(storeOptions(path))).close();
    const before = contentsOf(place);
    await expect(createStore(storeOptions(path))).rejects.toMatchObject({ code: 'store-exists', path });
    expect(contentsOf(place)).toEqual(before);
  });

  it('never overwrites a key file, whose store may lie elsewhere', async () => {
    const place = newFolder('key only');
    const path = join(place, 'clinic.longhold');
    await (await createStore(storeOptions(path))).close();
    rmSync(path);
    const before = contentsOf(place);
    await expect(createStore(storeOptions(path))).rejects.toMatchObject({ code: 'store-exists' });
    expect(contentsOf(place)).toEqual(before);
  });

  it('needs a passphrase of at least 8 characters, counted as a reader counts them', async () => {
    const place = newFolder('weak');
    const path = join(place, 'clinic.longhold');
    // Seven emoji are fourteen code units; seven full-width digits are seven characters, too.
    for (const passphrase of ['', 'seven77', '🦴🦴🦴🦴🦴🦴🦴', '７７７７７７７']) {
      const attempt = createStore({ ...storeOptions(path), passphrase });
      await expect(attempt).rejects.toMatchObject({ code: 'weak-passphrase' });
    }
    expect(contentsOf(place)).toEqual({});
    const attempt = createStore({ ...storeOptions(path), passphrase: '🦴🦴🦴🦴🦴🦴🦴🦴' });
    await (await attempt).close();
  });

  it('says when the folder does not exist', async () => {
    const path = join(folder, 'nowhere', 'clinic.longhold');
    await expect(createStore(storeOptions(path))).rejects.toMatchObject({ code: 'store-folder-missing' });
  });

  it('lets only one of two programs that want the same name have it', async () => {
    const place = newFolder('race');
    const path = join(place, 'clinic.longhold');
    const outcomes = await Promise.allSettled([
      createStore(storeOptions(path)),
      createStore(storeOptions(path)),
    ]);
    const made = outcomes.filter((outcome) => outcome.status === 'fulfilled');
    expect(made).toHaveLength(1);
    await made[0]?.value.close();
    expect(Object.keys(contentsOf(place)).sort()).toEqual(['clinic.longhold', 'clinic.longhold.key']);
  });

  it('leaves nothing behind when a file is in the way of the folder', async () => {
    const place = newFolder('file as folder');
    writeFileSync(join(place, 'file'), 'x');
    const before = contentsOf(place);
    const attempt = createStore(storeOptions(join(place, 'file', 'clinic.longhold')));
    await expect(attempt).rejects.toMatchObject({ code: expect.any(String) as string });
    expect(contentsOf(place)).toEqual(before);
  });
});
