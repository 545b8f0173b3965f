import { createClient, type Client } from '@libsql/client';
import { sql } from 'drizzle-orm';
import { drizzle, type LibSQLDatabase } from 'drizzle-orm/libsql';
import { SQLiteAsyncDialect } from 'drizzle-orm/sqlite-core';
import { migrate } from 'drizzle-orm/libsql/migrator';
import { readMigrationFiles } from 'drizzle-orm/migrator';
import { randomUUID } from 'node:crypto';
import { pathToFileURL } from 'node:url';
import { sqlStudy, type SqlTransaction } from '../sql-study';
import { driverCodeOf, StoreError, toStoreError } from '../store-error';
import type { SyncStore } from '../sync-store';
import { hearOthers, Turns } from '../turns';
import { Forgetting } from './forgetting';
import { SharedWrites } from './shared-writes';

export interface SqliteOptions {
  readonly path: string;
  readonly migrationsFolder: string;
  /** Milliseconds to wait for another program's write, such as that of a command beside the service. */
  readonly busyTimeout?: number;
}

const BUSY_TIMEOUT = 5_000;

/** Opens a store in one file, which is made where there is none. One service at a time works on it. */
export async function openSqliteStore(options: SqliteOptions): Promise<SyncStore> {
  const connection = new Connection(options);
  try {
    await connection.start();
  } catch (thrown) {
    connection.end();
    throw toStoreError(thrown);
  }
  const turns = new Turns();
  const inTurn = <T>(work: () => Promise<T>): Promise<T> =>
    turns.take(async () => {
      await hearOthers();
      return work().catch((thrown: unknown) => Promise.reject(toStoreError(thrown)));
    });
  const forgetting = new Forgetting(() => inTurn(() => connection.foldLog()));
  // What a program that was killed could not finish.
  await forgetting.begin();
  const writes = new SharedWrites((work) => connection.transaction('write', work));
  return {
    read: (work) =>
      inTurn(() => connection.transaction('read', (transaction) => work(sqlStudy(transaction)))),
    write: (work) => {
      const stored = writes.add(work);
      void inTurn(() => writes.storeWaiting());
      return stored;
    },
    forgetDeleted: () => forgetting.begin(),
    faults: () => inTurn(() => connection.faults()),
    close: () => {
      forgetting.stop();
      return inTurn(async () => connection.end());
    },
  };
}

/**
 * The one connection. It is thrown away and made anew after a transaction that failed at the database: a statement that
 * was refused a lock can leave the driver's connection with an old view of the file.
 */
class Connection {
  readonly #options: SqliteOptions;
  #client: Client;
  #db: LibSQLDatabase;
  #fresh = true;
  readonly #dialect = new SQLiteAsyncDialect();

  constructor(options: SqliteOptions) {
    this.#options = options;
    this.#client = clientOf(options);
    this.#db = drizzle(this.#client);
  }

  async start(): Promise<void> {
    await this.#settle();
    const { migrationsFolder } = this.#options;
    const known = readMigrationFiles({ migrationsFolder });
    if ((await this.#migrationsApplied()) > known.length) throw new StoreError('newer');
    await migrate(this.#db, { migrationsFolder });
    await this.#db.run(sql`INSERT INTO study (only_one, id, epoch, sequence)
      VALUES (1, ${randomUUID()}, ${randomUUID()}, 0) ON CONFLICT DO NOTHING`);
  }

  async transaction<T>(
    mode: 'read' | 'write',
    work: (transaction: SqlTransaction) => Promise<T>,
  ): Promise<T> {
    if (!this.#fresh) await this.#renew();
    const transaction = await this.#client.transaction(mode === 'read' ? 'deferred' : 'write');
    try {
      const result = await work({
        rows: async (statement) => {
          const { sql: text, params } = this.#dialect.sqlToQuery(statement);
          return (await transaction.execute({ sql: text, args: params.map(asArgument) })).rows;
        },
        insert: async (statement, values) => {
          await transaction.execute({ sql: statement(() => '?'), args: [...values] });
        },
        holdMember: async () => undefined,
      });
      await transaction.commit();
      return result;
    } catch (thrown) {
      // A fault of the database may have ended the transaction already; then the connection is made anew.
      if (driverCodeOf(thrown) !== null) this.#fresh = false;
      throw thrown;
    } finally {
      transaction.close();
    }
  }

  /**
   * Empties the log into the store. Deleted content is overwritten there (`secure_delete`). False where another program
   * reads the store just now; nobody waits for it.
   */
  async foldLog(): Promise<boolean> {
    if (!this.#fresh) await this.#renew();
    await this.#db.all(sql.raw('PRAGMA busy_timeout = 0'));
    try {
      const [row] = await this.#db.all<Record<string, unknown>>(sql.raw('PRAGMA wal_checkpoint(TRUNCATE)'));
      return row?.['busy'] === 0;
    } finally {
      await this.#db.all(sql.raw(`PRAGMA busy_timeout = ${this.#options.busyTimeout ?? BUSY_TIMEOUT}`));
    }
  }

  async faults(): Promise<string[]> {
    const words = await this.#db.all<Record<string, unknown>>(sql.raw('PRAGMA integrity_check'));
    const broken = await this.#db.all<Record<string, unknown>>(sql.raw('PRAGMA foreign_key_check'));
    return [
      ...words.map((row) => String(row['integrity_check'])).filter((word) => word !== 'ok'),
      ...broken.map((row) => `table ${String(row['table'])} refers to missing rows`),
    ];
  }

  end(): void {
    this.#client.close();
  }

  async #renew(): Promise<void> {
    this.#client.close();
    this.#client = clientOf(this.#options);
    this.#db = drizzle(this.#client);
    await this.#settle();
    this.#fresh = true;
  }

  /**
   * A write-ahead log that is flushed to the disk at each commit, so that what is acknowledged survives a cut of the
   * power; and deletion that overwrites, so that what is withdrawn is not left in free pages.
   */
  async #settle(): Promise<void> {
    await this.#db.run(sql.raw('PRAGMA synchronous = FULL'));
    await this.#db.run(sql.raw('PRAGMA secure_delete = ON'));
    await this.#db.run(sql.raw('PRAGMA foreign_keys = ON'));
    await this.#db.all(sql.raw('PRAGMA journal_mode = WAL'));
  }

  async #migrationsApplied(): Promise<number> {
    const tables = await this.#db.all(sql`SELECT 1 FROM sqlite_schema WHERE name = '__drizzle_migrations'`);
    if (tables.length === 0) return 0;
    return (await this.#db.all(sql.raw('SELECT id FROM __drizzle_migrations'))).length;
  }
}

function clientOf({ path, busyTimeout = BUSY_TIMEOUT }: SqliteOptions): Client {
  return createClient({ url: pathToFileURL(path).href, timeout: busyTimeout, concurrency: 1 });
}

function asArgument(value: unknown): string | number | null {
  if (typeof value === 'string' || typeof value === 'number' || value === null) return value;
  throw new TypeError('a value of a statement must be text, a number or null');
}
