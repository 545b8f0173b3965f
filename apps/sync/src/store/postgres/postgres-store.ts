import { sql, type SQL } from 'drizzle-orm';
import { randomUUID } from 'node:crypto';
import { z } from 'zod';
import type { Insert } from '../sql-rows';
import { sqlStudy } from '../sql-study';
import { driverCodeOf, toStoreError } from '../store-error';
import type { SyncStore } from '../sync-store';

/** Runs a statement inside a transaction and returns its rows. */
export type Execute = (statement: SQL) => Promise<readonly unknown[]>;

/** A PostgreSQL, reached over the network or held in this process, whose tables are there. */
export interface PostgresConnection {
  /** `read` sees one unchanging view; `write` sees at each statement what others have committed. */
  transaction<T>(kind: 'read' | 'write', work: (execute: Execute, insert: Insert) => Promise<T>): Promise<T>;
  /** Runs a statement that must stand outside a transaction. */
  alone(statement: SQL): Promise<readonly unknown[]>;
  close(): Promise<void>;
}

/** Two servers waited for each other, or one had to give way: the change was undone and may be tried again. */
const GAVE_WAY = new Set(['40001', '40P01']);
const MOST_TRIES = 5;

/** A store in a PostgreSQL database, on which any number of services may work. */
export async function openPostgresStore(connection: PostgresConnection): Promise<SyncStore> {
  const change = <T>(work: (execute: Execute, insert: Insert) => Promise<T>): Promise<T> =>
    withRetries(() => connection.transaction('write', work));
  await change((execute) =>
    execute(sql`INSERT INTO study (only_one, id, epoch, sequence)
      VALUES (1, ${randomUUID()}, ${randomUUID()}, 0) ON CONFLICT DO NOTHING`),
  );
  return {
    read: (work) =>
      withRetries(() =>
        connection.transaction('read', (...given) => work(sqlStudy(transactionOf(...given)))),
      ),
    write: (work) => change((...given) => work(sqlStudy(transactionOf(...given)))),
    forgetDeleted: async () => {
      const tables = 'versions, federated, centre_statistics, release_views';
      await withRetries(() => connection.alone(sql.raw(`VACUUM ${tables}`)));
    },
    faults: () => withRetries(() => connection.transaction('read', findFaults)),
    close: () => connection.close(),
  };
}

const referenceRow = z.object({
  child: z.string(),
  childColumn: z.string(),
  parent: z.string(),
  parentColumn: z.string(),
});
const REFERENCES = sql.raw(`SELECT c.conrelid::regclass::text AS child, a.attname AS "childColumn",
    c.confrelid::regclass::text AS parent, b.attname AS "parentColumn"
  FROM pg_constraint c
  JOIN pg_attribute a ON a.attrelid = c.conrelid AND a.attnum = c.conkey[1]
  JOIN pg_attribute b ON b.attrelid = c.confrelid AND b.attnum = c.confkey[1]
  WHERE c.contype = 'f' AND c.connamespace = current_schema()::regnamespace AND cardinality(c.conkey) = 1
  ORDER BY 1, 2`);
const BROKEN_INDEXES = sql.raw(`SELECT indexrelid::regclass::text AS name FROM pg_index
  WHERE NOT (indisvalid AND indisready) ORDER BY 1`);
const BROKEN_PAGES = sql.raw(`SELECT coalesce(checksum_failures, 0)::text AS count FROM pg_stat_database
  WHERE datname = current_database()`);

/** References to missing rows, indexes that the database does not trust, and pages whose checksum it found wrong. */
async function findFaults(execute: Execute): Promise<string[]> {
  const faults: string[] = [];
  for (const row of await execute(REFERENCES)) {
    const { child, childColumn, parent, parentColumn } = referenceRow.parse(row);
    const missing = await execute(sql`SELECT 1 FROM ${sql.identifier(child)} c
      WHERE c.${sql.identifier(childColumn)} IS NOT NULL AND NOT EXISTS (SELECT 1 FROM ${sql.identifier(parent)} p
        WHERE p.${sql.identifier(parentColumn)} = c.${sql.identifier(childColumn)})`);
    faults.push(...missing.map(() => `table ${child} refers to missing rows`));
  }
  for (const row of await execute(BROKEN_INDEXES)) {
    faults.push(`index ${z.object({ name: z.string() }).parse(row).name} is not whole`);
  }
  for (const row of await execute(BROKEN_PAGES)) {
    const { count } = z.object({ count: z.string() }).parse(row);
    if (count !== '0') faults.push(`${count} pages of the database have a wrong checksum`);
  }
  return faults;
}

function transactionOf(execute: Execute, insert: Insert) {
  return {
    rows: execute,
    insert,
    holdMember: async (member: string): Promise<void> => {
      await execute(sql`SELECT id FROM members WHERE id = ${member} FOR UPDATE`);
    },
  };
}

async function withRetries<T>(work: () => Promise<T>): Promise<T> {
  for (let tries = 1; ; tries++) {
    try {
      return await work();
    } catch (thrown) {
      if (tries < MOST_TRIES && GAVE_WAY.has(driverCodeOf(thrown) ?? '')) continue;
      throw toStoreError(thrown);
    }
  }
}
