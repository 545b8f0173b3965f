import { asc, sql } from 'drizzle-orm';
import { readMigrationFiles, type MigrationMeta } from 'drizzle-orm/migrator';
import { integer, sqliteTable, text } from 'drizzle-orm/sqlite-core';
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { z } from 'zod';
import {
  readingWithin,
  type Database,
  type QueryBuilder,
  type ReadTransaction,
  type WriteTransaction,
} from './database';
import { StoreError } from './errors';
import { guarded } from './guarded-columns';

/** The record of what was applied, where drizzle's own tools look for it. */
const applied = sqliteTable('__drizzle_migrations', {
  id: integer('id').primaryKey(),
  hash: text('hash').notNull(),
  when: integer('created_at').notNull(),
});

const journalSchema = z.object({
  entries: z.array(z.object({ idx: z.int(), when: z.int(), tag: z.string() })),
});

/** What is wrong with a folder of migrations, in words; empty when nothing is. */
export function faultsOfMigrations(folder: string): string[] {
  const journal: unknown = JSON.parse(readFileSync(join(folder, 'meta', '_journal.json'), 'utf8'));
  const { entries } = journalSchema.parse(journal);
  const faults: string[] = [];
  entries.forEach((entry, index) => {
    if (entry.idx !== index) faults.push(`entry ${index} of the journal is numbered ${entry.idx}`);
    const earlier = entries[index - 1];
    if (earlier !== undefined && entry.when <= earlier.when)
      faults.push(`${entry.tag} is not later than ${earlier.tag}`);
  });
  const files = readdirSync(folder).filter((name) => name.endsWith('.sql'));
  const listed = new Set(entries.map((entry) => `${entry.tag}.sql`));
  for (const file of files) if (!listed.has(file)) faults.push(`${file} is not in the journal`);
  for (const name of listed) if (!files.includes(name)) faults.push(`${name} is in the journal only`);
  return faults;
}

/** The migrations of a folder, in order. @throws Error when the folder itself is faulty, a mistake of packaging. */
export function loadMigrations(folder: string): MigrationMeta[] {
  const faults = faultsOfMigrations(folder);
  if (faults.length > 0) throw new Error(`the folder of migrations is faulty: ${faults.join('; ')}`);
  return readMigrationFiles({ migrationsFolder: folder });
}

/**
 * How many of the migrations a store has.
 * @throws StoreError store-newer when it has more than these, store-damaged when its record of them is no good.
 */
export async function countApplied(
  database: Database,
  migrations: readonly MigrationMeta[],
): Promise<number> {
  const table = await database.direct("SELECT 1 FROM sqlite_schema WHERE name = '__drizzle_migrations'");
  if (table === undefined) {
    throw new StoreError('store-damaged', database.path, 'it has none of the tables of a store');
  }
  const hashes = await database.read((transaction) => readApplied(database.build, transaction));
  return matchApplied(hashes, migrations, database.path);
}

/** Applies what is missing, inside the caller's transaction, so that all of it happens or nothing. */
export async function applyMissing(
  transaction: WriteTransaction,
  migrations: readonly MigrationMeta[],
  path: string,
): Promise<void> {
  await transaction.run(
    sql`CREATE TABLE IF NOT EXISTS ${applied} (id INTEGER PRIMARY KEY, hash TEXT NOT NULL, created_at INTEGER NOT NULL)`,
  );
  // Read again here: another program may have applied them since this one looked.
  const hashes = await readApplied(transaction, readingWithin(transaction));
  const done = matchApplied(hashes, migrations, path);
  for (const migration of migrations.slice(done)) {
    for (const statement of migration.sql) await transaction.run(sql.raw(statement));
    await transaction.insert(applied).values({ hash: migration.hash, when: migration.folderMillis });
  }
}

async function readApplied(build: QueryBuilder, transaction: ReadTransaction): Promise<unknown[]> {
  const query = build
    .select({ hash: guarded(applied.hash) })
    .from(applied)
    .orderBy(asc(applied.when));
  return (await transaction.rows(query)).map((row) => row[0]);
}

function matchApplied(
  hashes: readonly unknown[],
  migrations: readonly MigrationMeta[],
  path: string,
): number {
  const shared = hashes.slice(0, migrations.length);
  if (shared.some((hash, index) => hash !== migrations[index]?.hash)) {
    throw new StoreError('store-damaged', path, 'the record of its form is altered');
  }
  if (hashes.length > migrations.length) {
    throw new StoreError('store-newer', path, `form ${hashes.length}, known here: ${migrations.length}`);
  }
  return hashes.length;
}
