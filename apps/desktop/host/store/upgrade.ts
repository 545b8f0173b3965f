import { rm } from 'node:fs/promises';
import type { MigrationMeta } from 'drizzle-orm/migrator';
import type { Database } from './database';
import { toStoreError } from './driver-errors';
import { StoreError, type StoreErrorCode } from './errors';
import { applyMissing, countApplied } from './migrations';

const PASSING_TROUBLES: ReadonlySet<StoreErrorCode> = new Set(['disk-full', 'not-writable', 'store-busy']);

/** Where the copy of a store lies while its form is being changed. */
export function safetyCopyPath(storePath: string): string {
  return `${storePath}.before-upgrade`;
}

/**
 * Brings a store to the newest form. Where something has to change, an encrypted copy is kept beside the store
 * until the change has succeeded; after a failure it stays.
 */
export async function upgrade(database: Database, migrations: readonly MigrationMeta[]): Promise<void> {
  if ((await countApplied(database, migrations)) === migrations.length) return;
  const copy = safetyCopyPath(database.path);
  await rm(copy, { force: true });
  await database.direct('VACUUM INTO ?', [copy]);
  try {
    await database.write((transaction) => applyMissing(transaction, migrations, database.path));
    await requireWholeReferences(database);
  } catch (thrown) {
    throw asUpgradeError(thrown, database.path, copy);
  }
  await rm(copy, { force: true });
}

async function requireWholeReferences(database: Database): Promise<void> {
  const broken = await database.direct('PRAGMA foreign_key_check');
  if (broken === undefined) return;
  throw new StoreError('store-damaged', database.path, `table ${String(broken[0])} refers to missing rows`);
}

/** A step that fails is a fault of the step, unless the disk, the permissions or another program stopped it. */
function asUpgradeError(thrown: unknown, path: string, copy: string): unknown {
  if (thrown instanceof StoreError) return thrown;
  const error = toStoreError(thrown, path);
  if (error instanceof StoreError && PASSING_TROUBLES.has(error.code)) return error;
  return new StoreError('migration-failed', path, `a copy of it is kept at ${copy}`);
}
