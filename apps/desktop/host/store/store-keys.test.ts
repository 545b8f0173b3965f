import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { connect } from './database';
import { deriveStoreKeys } from './store-keys';
import { temporaryFolder } from './store.fixture';

const folder = temporaryFolder(afterAll);

describe('The key of the pages', () => {
  const { cipherKey } = deriveStoreKeys(Buffer.alloc(32, 1));

  const opens = (path: string, key: string): Promise<boolean> => {
    const attempt = async (): Promise<boolean> => {
      const database = connect(path, key, 0);
      try {
        return (await database.direct('SELECT count(*) AS tables FROM sqlite_schema'))?.['tables'] === 1;
      } finally {
        database.disconnect();
      }
    };
    return attempt().catch(() => false);
  };

  it('is 32 characters long and all of them count', async () => {
    expect(cipherKey).toMatch(/^[A-Za-z0-9_-]{32}$/);
    const path = join(folder, 'pages.longhold');
    const database = connect(path, cipherKey, 0);
    await database.direct('CREATE TABLE t (a)');
    database.disconnect();
    for (let position = 0; position < 32; position++) {
      const other = cipherKey[position] === 'x' ? 'y' : 'x';
      const nearly = cipherKey.slice(0, position) + other + cipherKey.slice(position + 1);
      expect(await opens(path, nearly), `character ${position}`).toBe(false);
    }
    expect(await opens(path, cipherKey)).toBe(true);
    // Why the key is not written in hexadecimal: what follows the 32nd character is ignored.
    expect(await opens(path, `${cipherKey}more`)).toBe(true);
  });

  it('differs with every bit of the random key and from the key of the seals', () => {
    const master = Buffer.alloc(32, 1);
    master[31] = 0;
    expect(deriveStoreKeys(master).cipherKey).not.toBe(cipherKey);
    const keys = deriveStoreKeys(master);
    expect(keys.sealKey.toString('base64url')).not.toContain(keys.cipherKey);
  });
});
