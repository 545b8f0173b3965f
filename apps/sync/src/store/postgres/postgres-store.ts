import { sql, type SQL } from 'drizzle-orm';
import { randomUUID } from 'node:crypto';
import { sqlStudy } from '../sql-study';
import { driverCodeOf, toStoreError } from '../store-error';
import type { SyncStore } from '../sync-store';

/** Runs a statement inside a transaction and returns its rows. */
export type Execute = (statement: SQL) => Promise<readonly unknown[]>;

/** A PostgreSQL, reached over the network or held in this process, whose tables are there. */
export interface PostgresConnection {
  /** `read` sees one unchanging view; `write` sees at each statement what others have committed. */
  transaction<T>(kind: 'read' | 'write', work: (execute: Execute) => Promise<T>): Promise<T>;
  /** Runs a statement that must stand outside a transaction. */
  alone(statement: SQL): Promise<readonly unknown[]>;
  close(): Promise<void>;
}

/** Two servers waited for each other, or one had to give way: the change was undone and may be tried again. */
const GAVE_WAY = new Set(['40001', '40P01']);
const MOST_TRIES = 5;

/** A store in a PostgreSQL database, on which any number of services may work. */
export async function openPostgresStore(connection: PostgresConnection): Promise<SyncStore> {
  const change = <T>(work: (execute: Execute) => Promise<T>): Promise<T> =>
    withRetries(() => connection.transaction('write', work));
  await change((execute) =>
    execute(sql`INSERT INTO study (only_one, id, epoch, sequence)
      VALUES (1, ${randomUUID()}, ${randomUUID()}, 0) ON CONFLICT DO NOTHING`),
  );
  return {
    read: (work) =>
      withRetries(() => connection.transaction('read', (execute) => work(sqlStudy(transactionOf(execute))))),
    write: (work) => change((execute) => work(sqlStudy(transactionOf(execute)))),
    forgetDeleted: async () => {
      const tables = 'versions, federated, centre_statistics, release_views';
      await withRetries(() => connection.alone(sql.raw(`VACUUM ${tables}`)));
    },
    faults: async () => [],
    close: () => connection.close(),
  };
}

function transactionOf(execute: Execute) {
  return {
    rows: execute,
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
