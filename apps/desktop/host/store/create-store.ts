import { randomBytes } from 'node:crypto';
import { rm } from 'node:fs/promises';
import { connect } from './database';
import { withStoreErrors } from './driver-errors';
import { StoreError } from './errors';
import { createPrivateFile, fileSize, moveToNewName, requireWritableFolder, unfinishedName } from './files';
import { createKeyFile, keyFilePath } from './key-file';
import { EMPTY_LEDGER, writeLedger } from './ledger';
import { applyMissing, loadMigrations } from './migrations';
import { BUSY_TIMEOUT_MILLISECONDS, openStore, type OpenStoreOptions } from './open-store';
import { requireStrongPassphrase, SCRYPT_COSTS, type ScryptCosts } from './passphrase';
import { Sealer } from './seals';
import type { Store } from './store';
import { deriveStoreKeys, MASTER_KEY_BYTES, type StoreKeys } from './store-keys';

export interface CreateStoreOptions extends OpenStoreOptions {
  /** Lower costs make a store quick to open and its passphrase easy to guess: for invented data and tests only. */
  readonly scryptCosts?: ScryptCosts;
}

/**
 * Makes an empty store and its key file, and opens it. Built under another name and moved into place when whole;
 * nothing that exists is ever overwritten.
 * @throws StoreError
 */
export async function createStore(options: CreateStoreOptions): Promise<Store> {
  const { path, passphrase, migrationsFolder } = options;
  await withStoreErrors(path, async () => {
    requireStrongPassphrase(passphrase, path);
    await requireWritableFolder(path);
    await requireFreeName(path, 'There is already a file');
    await requireFreeName(
      keyFilePath(path),
      'There is already a key file, perhaps of a store that was moved,',
    );
    const master = randomBytes(MASTER_KEY_BYTES);
    const unfinished = unfinishedName(path);
    try {
      await buildEmptyStore(unfinished, deriveStoreKeys(master), migrationsFolder);
      await createKeyFile(path, master, passphrase, options.scryptCosts ?? SCRYPT_COSTS);
      await moveIntoPlace(unfinished, path);
    } finally {
      await rm(unfinished, { force: true });
      await rm(`${unfinished}-journal`, { force: true });
    }
  });
  return openStore(options);
}

async function buildEmptyStore(path: string, keys: StoreKeys, migrationsFolder: string): Promise<void> {
  const migrations = loadMigrations(migrationsFolder);
  await createPrivateFile(path);
  const database = connect(path, keys.cipherKey, BUSY_TIMEOUT_MILLISECONDS);
  try {
    await database.write(async (transaction) => {
      await applyMissing(transaction, migrations, path);
      await writeLedger(transaction, EMPTY_LEDGER, new Sealer(keys.sealKey));
    });
  } finally {
    database.disconnect();
  }
}

/** The key file is useless without the store, so a store that can't be put in its place takes it along. */
async function moveIntoPlace(unfinished: string, path: string): Promise<void> {
  try {
    await moveToNewName(unfinished, path);
  } catch (thrown) {
    await rm(keyFilePath(path), { force: true });
    throw thrown;
  }
}

async function requireFreeName(path: string, detail: string): Promise<void> {
  if ((await fileSize(path)) !== null) throw new StoreError('store-exists', path, detail);
}
