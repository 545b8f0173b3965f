import { randomBytes } from 'node:crypto';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeEach, describe, expect, it } from 'vitest';
import { changePassphrase, createKeyFile, keyFilePath, readMasterKey } from './key-file';
import { SCRYPT_COSTS } from './passphrase';
import { contentsOf, PASSPHRASE, QUICK_COSTS, temporaryFolder } from './store.fixture';

let folder = '';
let path = '';
let master = randomBytes(32);

beforeEach(async () => {
  folder = temporaryFolder(afterAll);
  path = join(folder, 'clinic.longhold');
  master = randomBytes(32);
  await createKeyFile(path, master, PASSPHRASE, QUICK_COSTS);
});

function keyFileContents(): Record<string, unknown> & { scrypt: Record<string, unknown> } {
  return JSON.parse(readFileSync(keyFilePath(path), 'utf8')) as ReturnType<typeof keyFileContents>;
}

describe('A key file', () => {
  it('gives the key back to the passphrase and to no other', async () => {
    expect(await readMasterKey(path, PASSPHRASE)).toEqual(master);
    await expect(readMasterKey(path, 'seven calm heronz')).rejects.toMatchObject({
      code: 'wrong-passphrase',
    });
  });

  it('takes a passphrase typed in another Unicode form for the same', async () => {
    const composed = join(folder, 'composed');
    await createKeyFile(composed, master, 'caf\u00e9 au lait', QUICK_COSTS);
    expect(await readMasterKey(composed, 'cafe\u0301 au lait')).toEqual(master);
  });

  it('works with the costs that real stores use', async () => {
    const real = join(folder, 'real');
    await createKeyFile(real, master, PASSPHRASE, SCRYPT_COSTS);
    expect(await readMasterKey(real, PASSPHRASE)).toEqual(master);
  });

  it('contains neither the key nor the passphrase', () => {
    const text = readFileSync(keyFilePath(path), 'utf8');
    expect(text).not.toContain(master.toString('hex'));
    expect(text).not.toContain(PASSPHRASE);
  });

  it('is told to be damaged, not the passphrase wrong, when any of it was altered', async () => {
    const text = readFileSync(keyFilePath(path), 'utf8');
    const damaged = [
      '',
      'garbage',
      '{}',
      'null',
      text.slice(0, text.length / 2),
      `${text} `.repeat(200),
      text.replace(
        /"wrappedKey": "(.)/,
        (_all, digit: string) => `"wrappedKey": "${digit === '0' ? '1' : '0'}`,
      ),
      text.replace(/"tag": "../, '"tag": "xy'),
      text.replace('"blockSize": 1', '"blockSize": 2'),
      text.replace('"cost": 2', '"cost": 3'),
      text.replace('"cost": 2', '"cost": 1099511627776'),
      text.replace('"parallel"', '"paralel"'),
      randomBytes(500).toString('latin1'),
    ];
    for (const content of damaged) {
      writeFileSync(keyFilePath(path), content);
      const before = contentsOf(folder);
      await expect(readMasterKey(path, PASSPHRASE), content.slice(0, 80)).rejects.toMatchObject({
        code: 'key-file-damaged',
      });
      expect(contentsOf(folder)).toEqual(before);
    }
  });

  it('of a newer version is called so', async () => {
    writeFileSync(keyFilePath(path), JSON.stringify({ ...keyFileContents(), version: 2 }));
    await expect(readMasterKey(path, PASSPHRASE)).rejects.toMatchObject({ code: 'store-newer' });
  });
});

describe('A new passphrase', () => {
  const NEW = 'nine restless otters';

  it('opens the same key and ends the old passphrase', async () => {
    await changePassphrase({ path, passphrase: PASSPHRASE, newPassphrase: NEW });
    expect(await readMasterKey(path, NEW)).toEqual(master);
    await expect(readMasterKey(path, PASSPHRASE)).rejects.toMatchObject({ code: 'wrong-passphrase' });
    expect(Object.keys(contentsOf(folder))).toEqual(['clinic.longhold.key']);
  });

  it('is refused, and the file left as it is, when the old one is wrong or the new one weak', async () => {
    const before = contentsOf(folder);
    const wrong = changePassphrase({ path, passphrase: 'not this one', newPassphrase: NEW });
    await expect(wrong).rejects.toMatchObject({ code: 'wrong-passphrase' });
    const weak = changePassphrase({ path, passphrase: PASSPHRASE, newPassphrase: 'short' });
    await expect(weak).rejects.toMatchObject({ code: 'weak-passphrase' });
    expect(contentsOf(folder)).toEqual(before);
  });

  it('does not make the passphrase cheaper to guess', async () => {
    await changePassphrase({ path, passphrase: PASSPHRASE, newPassphrase: NEW });
    expect(keyFileContents().scrypt).toMatchObject(QUICK_COSTS);
  });
});
