import { appendAudit, type AuditNote, type Authorship } from './audit';
import { readingWithin, type Database, type WriteTransaction } from './database';
import { readLedger, writeLedger, type Ledger } from './ledger';
import type { Sealer } from './seals';

/** What a change did: its audit notes (none: it changed nothing) and what it made of the ledger's account of the records. */
export interface ChangeMade {
  readonly notes: readonly AuditNote[];
  readonly records?: Partial<Pick<Ledger, 'patients' | 'patientSeals' | 'growthTableSeals' | 'poolingSeals'>>;
}

/**
 * The one way to change a store: the change, its audit entries and the ledger in one transaction.
 * @returns the ledger as it stands afterwards
 */
export function changeStore(
  database: Database,
  sealer: Sealer,
  authorship: Authorship,
  work: (transaction: WriteTransaction, ledger: Ledger) => Promise<ChangeMade>,
): Promise<Ledger> {
  return database.write(async (transaction) => {
    const ledger = await readLedger(database, readingWithin(transaction), sealer);
    const { notes, records } = await work(transaction, ledger);
    if (notes.length === 0) return ledger;
    const changed = { ...ledger, ...records, revision: ledger.revision + 1 };
    const audited = await appendAudit(transaction, changed, sealer, { authorship, notes });
    await writeLedger(transaction, audited, sealer);
    return audited;
  });
}
