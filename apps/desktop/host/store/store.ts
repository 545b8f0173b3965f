import {
  eventKindSchema,
  isoDateSchema,
  type IsoDate,
  type PatientEvent,
  type Study,
} from '@longhold/core/records';
import type { ImportedTable } from '@longhold/core/growth';
import { readAudit, type AuditEntry, type Authorship } from './audit';
import { writeImport, type ImportToApply } from './apply-import';
import { settleAndDisconnect, type Database, type ReadTransaction } from './database';
import { withStoreErrors } from './driver-errors';
import { readGrowthTables, removeGrowthTable, type GrowthTableKey } from './growth-tables';
import { readLedger, type Ledger } from './ledger';
import type { PoolingBookDraft } from './pooling-documents';
import { readPooling, writePooling, type PoolingChange } from './pooling-rows';
import { readWholeStudy } from './read-study';
import { writeEvent } from './record-event';
import type { Sealer } from './seals';
import { readSettingRow, type SettingKey, type SettingValue } from './settings';
import { writeSetting } from './change-setting';
import { Turns } from './turns';

const AUDIT_PAGE = 1000;

/**
 * An open store. All calls take turns. Every change is in one transaction with its audit entries: when a call
 * resolves, the change is on the disk; when it rejects, nothing of it is. Faults are StoreErrors.
 */
export class Store {
  readonly path: string;
  readonly #database: Database;
  readonly #sealer: Sealer;
  readonly #turns = new Turns();
  #ledger: Ledger;
  #closed = false;

  /** For openStore and createStore; the database is connected, checked and logging. */
  constructor(database: Database, sealer: Sealer, ledger: Ledger) {
    this.path = database.path;
    this.#database = database;
    this.#sealer = sealer;
    this.#ledger = ledger;
  }

  /** The number of changes made so far, as of the last call that read or wrote; grows with each change. */
  revision(): number {
    return this.#ledger.revision;
  }

  /** The same, asked of the file: sees what other programs changed. */
  latestRevision(): Promise<number> {
    return this.#read((_transaction, ledger) => Promise.resolve(ledger.revision));
  }

  /** All patients, ordered by code, every row checked. */
  readStudy(): Promise<Study> {
    return this.#read((transaction, ledger) =>
      readWholeStudy(this.#database, transaction, this.#sealer, ledger),
    );
  }

  /** The growth tables that the clinic imported, by name and measure, every row checked. */
  readGrowthTables(): Promise<ImportedTable[]> {
    return this.#read((transaction, ledger) =>
      readGrowthTables(this.#database, transaction, this.#sealer, ledger),
    );
  }

  /** Takes a growth table away; one that is not there changes nothing. */
  removeGrowthTable(table: GrowthTableKey, authorship: Authorship): Promise<void> {
    return this.#change(() => removeGrowthTable(this.#database, this.#sealer, { table, authorship }));
  }

  /** What the store keeps of pooling, every document checked, in a book of the caller's own, and the revision at which it was read. */
  readPooling(): Promise<{ readonly revision: number; readonly book: PoolingBookDraft }> {
    return this.#read(async (transaction, ledger) => ({
      revision: ledger.revision,
      book: await readPooling(this.#database, transaction, this.#sealer, ledger),
    }));
  }

  /**
   * Changes what the store keeps of pooling, or nothing of it. Returns the revision that this makes.
   * @throws StoreError store-changed when the store is not at the revision that the change was made from
   */
  async changePooling(change: PoolingChange, authorship: Authorship): Promise<number> {
    await this.#change(() => writePooling(this.#database, this.#sealer, { change, authorship }));
    return change.basedOn + 1;
  }

  /** Entries of the audit trail with an id below `before`, newest first, at most `limit`. */
  auditTrail(page: { limit: number; before?: number }): Promise<AuditEntry[]> {
    return this.#read((transaction, ledger) =>
      readAudit(this.#database, transaction, this.#sealer, {
        ledger,
        limit: page.limit,
        before: page.before ?? null,
      }),
    );
  }

  /** Reads all that the store holds and checks every seal; rejects with store-damaged when anything was altered. */
  async verify(): Promise<void> {
    await this.readStudy();
    await this.readGrowthTables();
    await this.readPooling();
    for (let before = this.#ledger.auditEntries + 1; before > 1; before -= AUDIT_PAGE) {
      await this.auditTrail({ limit: AUDIT_PAGE, before });
    }
  }

  readSetting<K extends SettingKey>(key: K): Promise<SettingValue<K> | null> {
    return this.#read((transaction) => readSettingRow(this.#database, transaction, this.#sealer, key));
  }

  writeSetting<K extends SettingKey>(key: K, value: SettingValue<K>, authorship: Authorship): Promise<void> {
    return this.#change(() => writeSetting(this.#database, this.#sealer, { key, value, authorship }));
  }

  /**
   * Writes an import: every touched patient and growth table is replaced by its `after`. Writes nothing when nothing is
   * touched.
   * @throws StoreError store-changed when one of them is no longer as `before` says.
   */
  applyImport(toApply: ImportToApply): Promise<void> {
    return this.#change(() => writeImport(this.#database, this.#sealer, toApply));
  }

  /**
   * Records that something happened to a patient. Recording it a second time changes nothing.
   * @throws StoreError unknown-patient
   */
  recordEvent(
    occurrence: { code: string; date: IsoDate; event: PatientEvent['event'] } & Authorship,
  ): Promise<void> {
    const { code, at, actor } = occurrence;
    const event = {
      date: isoDateSchema.parse(occurrence.date),
      event: eventKindSchema.parse(occurrence.event),
    };
    return this.#change(() =>
      writeEvent(this.#database, this.#sealer, { code, event, authorship: { at, actor } }),
    );
  }

  /** Waits for what was asked before, folds the log into the store and lets go of it. A second call does nothing. */
  close(): Promise<void> {
    return this.#turns.take(async () => {
      if (this.#closed) return;
      this.#closed = true;
      await settleAndDisconnect(this.#database);
    });
  }

  #read<T>(work: (transaction: ReadTransaction, ledger: Ledger) => Promise<T>): Promise<T> {
    return this.#turn(() =>
      this.#database.read(async (transaction) => {
        this.#ledger = await readLedger(this.#database, transaction, this.#sealer);
        return work(transaction, this.#ledger);
      }),
    );
  }

  async #change(work: () => Promise<Ledger>): Promise<void> {
    await this.#turn(async () => {
      this.#ledger = await work();
    });
  }

  #turn<T>(task: () => Promise<T>): Promise<T> {
    return this.#turns.take(() => {
      if (this.#closed) return Promise.reject(new Error('the store is closed'));
      return withStoreErrors(this.path, task);
    });
  }
}
