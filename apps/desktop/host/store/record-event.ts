import type { PatientEvent } from '@longhold/core/records';
import { replacePatients } from './apply-import';
import type { Authorship } from './audit';
import { changeStore } from './change';
import { readingWithin, type Database } from './database';
import { StoreError } from './errors';
import type { Ledger } from './ledger';
import { readHistories } from './read-study';
import { adjustSealSum, type Sealer } from './seals';

/** Adds an event to a patient's history; an event that is already there is not added again. */
export function writeEvent(
  database: Database,
  sealer: Sealer,
  occurrence: { readonly code: string; readonly event: PatientEvent; readonly authorship: Authorship },
): Promise<Ledger> {
  const { code, event, authorship } = occurrence;
  return changeStore(database, sealer, authorship, async (transaction, ledger) => {
    const [before] = await readHistories(database, readingWithin(transaction), sealer, code);
    if (before === undefined) throw new StoreError('unknown-patient', database.path, code);
    if (before.events.some((known) => known.date === event.date && known.event === event.event)) {
      return { notes: [] };
    }
    const after = { ...before, events: [...before.events, event] };
    const { added, removed } = await replacePatients(
      transaction,
      sealer,
      [{ code, before, after }],
      database.path,
    );
    return {
      notes: [{ action: 'event-recorded', patient: code, before: null, after: event }],
      records: {
        patientSeals: adjustSealSum(ledger.patientSeals, added, removed),
      },
    };
  });
}
