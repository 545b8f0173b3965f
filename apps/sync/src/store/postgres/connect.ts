import { sql } from 'drizzle-orm';
import { drizzle, type NodePgDatabase } from 'drizzle-orm/node-postgres';
import { migrate } from 'drizzle-orm/node-postgres/migrator';
import { readMigrationFiles } from 'drizzle-orm/migrator';
import { Pool, type PoolClient } from 'pg';
import { StoreError, toStoreError } from '../store-error';
import type { PostgresConnection } from './postgres-store';

/** Any number that other programs on the same database are unlikely to lock. */
const UPGRADE_LOCK = 5_081_925;
const CONNECTIONS = 10;
/**
 * Milliseconds. What a network that went silent holds up ends by these, also for the other services that wait. The first
 * is also the longest that somebody waits for a free connection where very many ask at once.
 */
const CONNECT_TIMEOUT = 60_000;
const ANSWER_TIMEOUT = 120_000;
const LOCK_TIMEOUT = 30_000;
const IDLE_TIMEOUT = 60_000;

/** Connects to a PostgreSQL by its address and brings its tables to the newest form. */
export async function connectPostgres(options: {
  readonly url: string;
  readonly migrationsFolder: string;
}): Promise<PostgresConnection> {
  const pool = new Pool({
    connectionString: options.url,
    max: CONNECTIONS,
    connectionTimeoutMillis: CONNECT_TIMEOUT,
    query_timeout: ANSWER_TIMEOUT,
    lock_timeout: LOCK_TIMEOUT,
    idle_in_transaction_session_timeout: IDLE_TIMEOUT,
    keepAlive: true,
  });
  // A connection that breaks while nobody uses it is replaced at the next use; nothing is lost by it. One that breaks
  // between two statements of a transaction says so at the next of them; unheard, its event would end the process.
  pool.on('error', () => undefined);
  pool.on('connect', (client) => client.on('error', () => undefined));
  try {
    await upgrade(pool, options.migrationsFolder);
  } catch (thrown) {
    await pool.end();
    throw toStoreError(thrown);
  }
  return {
    transaction: (kind, work) =>
      onOneConnection(pool, (db, client) =>
        db.transaction(
          async (transaction) =>
            work(
              async (statement) => (await transaction.execute(statement)).rows,
              async (statement, values) => {
                await client.query(
                  statement((place) => `$${place}`),
                  [...values],
                );
              },
            ),
          {
            isolationLevel: kind === 'read' ? 'repeatable read' : 'read committed',
            accessMode: kind === 'read' ? 'read only' : 'read write',
          },
        ),
      ),
    alone: (statement) => onOneConnection(pool, async (db) => (await db.execute(statement)).rows),
    close: () => pool.end(),
  };
}

/** Lends a connection and takes it back whatever happens; after a fault of the database it is thrown away. */
async function onOneConnection<T>(
  pool: Pool,
  work: (db: NodePgDatabase, client: PoolClient) => Promise<T>,
): Promise<T> {
  const client = await pool.connect();
  let usable = false;
  try {
    const result = await work(drizzle(client), client);
    usable = true;
    return result;
  } catch (thrown) {
    usable = !(toStoreError(thrown) instanceof StoreError);
    throw thrown;
  } finally {
    client.release(!usable);
  }
}

/** One service at a time changes the form of the tables. */
async function upgrade(pool: Pool, migrationsFolder: string): Promise<void> {
  const client = await pool.connect();
  try {
    await client.query('SELECT pg_advisory_lock($1)', [UPGRADE_LOCK]);
    if ((await applied(client)) > readMigrationFiles({ migrationsFolder }).length)
      throw new StoreError('newer');
    await migrate(drizzle(client), { migrationsFolder });
  } finally {
    // Ending the connection lets the lock go, whatever happened on it.
    client.release(true);
  }
}

async function applied(client: PoolClient): Promise<number> {
  const db = drizzle(client);
  const { rows } = await db.execute(
    sql`SELECT 1 FROM information_schema.tables WHERE table_schema = 'drizzle' AND table_name = '__drizzle_migrations'`,
  );
  if (rows.length === 0) return 0;
  return (await db.execute(sql.raw('SELECT id FROM drizzle.__drizzle_migrations'))).rows.length;
}
