import {
  createClient,
  type Client,
  type Row,
  type Transaction as DriverTransaction,
  type TransactionMode,
} from '@libsql/client';
import { drizzle, type LibSQLDatabase } from 'drizzle-orm/libsql';
import type { SQLWrapper } from 'drizzle-orm';
import { pathToFileURL } from 'node:url';
import { StoreError } from './errors';
import { plainValue } from './guarded-columns';

type Drizzle = LibSQLDatabase<Record<string, never>>;

/** The handle of an open write transaction; only through it may a change be written. */
export type WriteTransaction = Parameters<Parameters<Drizzle['transaction']>[0]>[0];

/** The handle of a read transaction: one unchanging view of the store. */
export interface ReadTransaction {
  /**
   * Runs a query built with drizzle and returns its rows, columns in the order of the selection. Columns must
   * be selected through `guarded`.
   */
  rows(query: Query): Promise<unknown[][]>;
}

/** A query built with drizzle. */
export type Query = SQLWrapper & { toSQL(): { sql: string; params: unknown[] } };

/** Lets a reader work inside a write transaction. */
export function readingWithin(transaction: WriteTransaction): ReadTransaction {
  return {
    rows: async (query) => (await transaction.values<unknown[]>(query)).map(plainRow),
  };
}

/** Builds queries; it is not connected to anything. */
export type QueryBuilder = Pick<Drizzle, 'select'>;

/** One connection to one encrypted file. Callers take turns: the driver has no queue of its own. */
export interface Database {
  readonly path: string;
  readonly build: QueryBuilder;
  read<T>(work: (transaction: ReadTransaction) => Promise<T>): Promise<T>;
  write<T>(work: (transaction: WriteTransaction) => Promise<T>): Promise<T>;
  /** Runs one statement outside a transaction and returns its first row; for PRAGMA and VACUUM. */
  direct(statement: string, parameters?: string[]): Promise<Row | undefined>;
  disconnect(): void;
}

/**
 * Connects to an encrypted SQLite file. `busyTimeout` is how many milliseconds to wait for another program's write.
 * A single connection, because PRAGMA settings belong to a connection and because a statement that misses its
 * transaction then fails instead of waiting for it forever.
 */
export function connect(path: string, cipherKey: string, busyTimeout: number): Database {
  const client = createClient({
    url: pathToFileURL(path).href,
    encryptionKey: cipherKey,
    timeout: busyTimeout,
    concurrency: 1,
  });
  takeLocksSafely(client);
  const db = drizzle(client);
  return {
    path,
    build: db,
    read: (work) => readWith(client, work),
    write: (work) => writeWith(db, work),
    direct: async (statement, parameters = []) =>
      (await client.execute({ sql: statement, args: parameters })).rows[0],
    disconnect: () => client.close(),
  };
}

/**
 * Makes write transactions take the lock through the driver's script call. Its statement call leaves a statement that
 * was refused the lock half-done until its memory is collected; the connection then keeps an old view of the store,
 * reads what is no longer there and can never write again. A script's statements are always cleared away.
 */
function takeLocksSafely(client: Client): void {
  const begin = client.transaction.bind(client);
  client.transaction = async (mode: TransactionMode = 'write'): Promise<DriverTransaction> => {
    const transaction = await begin('deferred');
    if (mode !== 'write') return transaction;
    try {
      await transaction.executeMultiple('COMMIT; BEGIN IMMEDIATE');
      return transaction;
    } catch (thrown) {
      transaction.close();
      throw thrown;
    }
  };
}

/**
 * Puts an opened store to work: a write-ahead log, so that another program can read while this one writes, and a
 * flush to the disk at each commit, so that what was acknowledged survives a cut of the power.
 */
export async function startLogging(database: Database): Promise<void> {
  await database.direct('PRAGMA synchronous = FULL');
  const answer = await database.direct('PRAGMA journal_mode = WAL');
  if (answer?.['journal_mode'] !== 'wal') throw new StoreError('store-busy', database.path);
  // The log and its index are made at the first reading: better now than later, when the disk may be full.
  await database.direct('SELECT count(*) FROM sqlite_schema');
}

/**
 * Folds the log into the store, so that a closed store is one file, then disconnects. While another program has
 * the store open the log has to stay, and that is no fault: it is part of the store until that program closes.
 */
export async function settleAndDisconnect(database: Database): Promise<void> {
  try {
    await database.direct('PRAGMA journal_mode = DELETE');
  } catch {
    await database.direct('PRAGMA wal_checkpoint(PASSIVE)').catch(() => undefined);
  } finally {
    database.disconnect();
  }
}

async function readWith<T>(client: Client, work: (transaction: ReadTransaction) => Promise<T>): Promise<T> {
  const transaction: DriverTransaction = await client.transaction('deferred');
  try {
    return await work({
      rows: async (query) => {
        const { sql, params } = query.toSQL();
        return (await transaction.execute({ sql, args: params.map(asArgument) })).rows.map(plainRow);
      },
    });
  } finally {
    transaction.close();
  }
}

/** Keeps the first error: after a full disk SQLite has rolled back by itself, and the driver's own attempt fails. */
async function writeWith<T>(db: Drizzle, work: (transaction: WriteTransaction) => Promise<T>): Promise<T> {
  let failure: { readonly thrown: unknown } | null = null;
  try {
    return await db.transaction(async (transaction) => {
      try {
        return await work(transaction);
      } catch (thrown) {
        failure = { thrown };
        throw thrown;
      }
    });
  } catch (thrown) {
    const first: { readonly thrown: unknown } | null = failure;
    throw first === null ? thrown : first['thrown'];
  }
}

function plainRow(row: ArrayLike<unknown>): unknown[] {
  return Array.from(row, plainValue);
}

function asArgument(value: unknown): string | number | null {
  if (typeof value === 'string' || typeof value === 'number' || value === null) return value;
  throw new TypeError('a query parameter must be text, a number or null');
}
