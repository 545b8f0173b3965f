import { connect, settleAndDisconnect, startLogging, type Database } from './database';
import { withStoreErrors } from './driver-errors';
import { StoreError } from './errors';
import { fileSize, requireWritable, requireWritableFolder } from './files';
import { readMasterKey } from './key-file';
import { readLedger, type Ledger } from './ledger';
import { loadMigrations } from './migrations';
import { Sealer } from './seals';
import { Store } from './store';
import { deriveStoreKeys } from './store-keys';
import { upgrade } from './upgrade';

export const BUSY_TIMEOUT_MILLISECONDS = 5_000;

export interface OpenStoreOptions {
  readonly path: string;
  readonly passphrase: string;
  /** The folder of migration files; where it lies depends on how the program was bundled. */
  readonly migrationsFolder: string;
  /** How long to wait for another program's write before giving up with store-busy. */
  readonly busyTimeout?: number;
}

/**
 * Opens a store: finds the files, unwraps the key, checks the whole file, brings it to this version's form and
 * starts its log. A store that can't be opened is left byte for byte as it was.
 * @throws StoreError
 */
export function openStore(options: OpenStoreOptions): Promise<Store> {
  const { path, passphrase } = options;
  const migrations = loadMigrations(options.migrationsFolder);
  return withStoreErrors(path, async () => {
    await requireStoreFile(path);
    const keys = deriveStoreKeys(await readMasterKey(path, passphrase));
    const database = connect(path, keys.cipherKey, options.busyTimeout ?? BUSY_TIMEOUT_MILLISECONDS);
    const sealer = new Sealer(keys.sealKey);
    let ledger: Ledger;
    try {
      await requireSoundPages(database);
      await upgrade(database, migrations);
      ledger = await database.read((transaction) => readLedger(database, transaction, sealer));
    } catch (thrown) {
      database.disconnect();
      throw thrown;
    }
    try {
      await startLogging(database);
    } catch (thrown) {
      await settleAndDisconnect(database);
      throw thrown;
    }
    return new Store(database, sealer, ledger);
  });
}

async function requireStoreFile(path: string): Promise<void> {
  await requireWritableFolder(path);
  const size = await fileSize(path);
  if (size === null) throw new StoreError('store-missing', path);
  // SQLite takes an empty file for a new database; a store is never empty, not even just after its creation.
  if (size === 0) throw new StoreError('store-damaged', path, 'the file is empty');
  await requireWritable(path);
}

/** Reads every page. Sees a cut or garbled structure; what a value was is the seals' business. */
async function requireSoundPages(database: Database): Promise<void> {
  // Asked for a number, not for SQLite's own words: they may quote damaged text, which the driver can't stand.
  const answer = await database.direct("SELECT quick_check = 'ok' AS sound FROM pragma_quick_check(1)");
  if (answer?.['sound'] !== 1) {
    throw new StoreError('store-damaged', database.path, 'pages of the file contradict each other');
  }
}
