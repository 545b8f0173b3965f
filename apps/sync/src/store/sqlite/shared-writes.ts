import { sql } from 'drizzle-orm';
import { sqlStudy, type SqlTransaction } from '../sql-study';
import { driverCodeOf, toStoreError } from '../store-error';
import type { StudyWriter } from '../sync-store';
import { hearOthers } from '../turns';

/** Changes in one transaction at most, so that none waits long for those after it. */
const MOST_TOGETHER = 16;

const SAVE = sql.raw('SAVEPOINT change');
const KEEP = sql.raw('RELEASE change');
const UNDO = sql.raw('ROLLBACK TO change');

/** A change that waits for its transaction. */
interface Change {
  /** Makes it and returns what tells the asker how it ended, to be called once that is stored. */
  readonly make: (transaction: SqlTransaction) => Promise<() => void>;
  readonly fail: (thrown: unknown) => void;
}

/**
 * Changes that wait at the same time are made in one transaction, in the order in which they were asked for, so that one
 * flush to the disk serves all of them. One that is refused is undone by itself. Where the database fails, nothing of
 * the transaction is stored, and each change is made again in a transaction of its own.
 */
export class SharedWrites {
  readonly #transaction: (work: (transaction: SqlTransaction) => Promise<void>) => Promise<void>;
  #waiting: Change[] = [];

  constructor(transaction: (work: (transaction: SqlTransaction) => Promise<void>) => Promise<void>) {
    this.#transaction = transaction;
  }

  /** Puts a change in line for `storeWaiting`; the promise ends once it is on the disk, or is not to be. */
  add<T>(work: (writer: StudyWriter) => Promise<T>): Promise<T> {
    return new Promise<T>((resolve, reject) => {
      this.#waiting.push({
        make: (transaction) => makeAlone(transaction, work, resolve, reject),
        fail: (thrown) => reject(toStoreError(thrown)),
      });
    });
  }

  /** Stores the changes that have waited longest; does nothing where none waits any more. */
  async storeWaiting(): Promise<void> {
    const changes = this.#waiting.splice(0, MOST_TOGETHER);
    if (changes.length > 0) await this.#store(changes);
  }

  async #store(changes: readonly Change[]): Promise<void> {
    const ends: (() => void)[] = [];
    try {
      await this.#transaction(async (transaction) => {
        for (const { make } of changes) {
          ends.push(await make(transaction));
          await hearOthers();
        }
      });
    } catch (thrown) {
      const [only, ...others] = changes;
      if (others.length === 0) only?.fail(thrown);
      else for (const change of changes) await this.#store([change]);
      return;
    }
    for (const end of ends) end();
  }
}

/** Makes a change on top of those before it in the transaction, and undoes it alone where it is refused. */
async function makeAlone<T>(
  transaction: SqlTransaction,
  work: (writer: StudyWriter) => Promise<T>,
  resolve: (result: T) => void,
  reject: (thrown: unknown) => void,
): Promise<() => void> {
  await transaction.rows(SAVE);
  try {
    const result = await work(sqlStudy(transaction));
    await transaction.rows(KEEP);
    return () => resolve(result);
  } catch (thrown) {
    if (driverCodeOf(thrown) !== null) throw thrown;
    await transaction.rows(UNDO);
    await transaction.rows(KEEP);
    return () => reject(toStoreError(thrown));
  }
}
