import { z } from 'zod';
import { changeCountsSchema, type TouchedPatient, type TouchedTable } from '@longhold/core/intake';
import { patientHistorySchema } from '@longhold/core/records';
import type { AuditNote, Authorship } from './audit';
import { changeStore } from './change';
import type { Database, WriteTransaction } from './database';
import { StoreError } from './errors';
import { growthTableNote, replaceGrowthTables } from './growth-tables';
import type { Ledger } from './ledger';
import { deletePatients, insertPatients, sealsInStore, type SealedHistory } from './patient-rows';
import { adjustSealSum, type Sealer } from './seals';

/** What the audit trail keeps of an import besides the patients it touched. */
export const importNoteSchema = z.strictObject({
  fingerprint: z.string().min(1).max(200),
  counts: changeCountsSchema,
});
export type ImportNote = z.infer<typeof importNoteSchema>;

/**
 * An import that was read and merged: the patients and growth tables it touches, the fingerprint of its files and its
 * counts.
 */
export interface ImportToApply extends ImportNote, Authorship {
  readonly touched: readonly TouchedPatient[];
  readonly touchedTables: readonly TouchedTable[];
}

/** Writes an import, or nothing of it. */
export function writeImport(database: Database, sealer: Sealer, toApply: ImportToApply): Promise<Ledger> {
  const { touched, touchedTables, fingerprint, counts, at, actor } = toApply;
  const note = importNoteSchema.parse({ fingerprint, counts });
  requireRecords(touched);
  return changeStore(database, sealer, { at, actor }, async (transaction, ledger) => {
    if (touched.length === 0 && touchedTables.length === 0) return { notes: [] };
    const written = await replacePatients(transaction, sealer, touched, database.path);
    const tables = await replaceGrowthTables(transaction, sealer, touchedTables, database.path);
    return {
      notes: [
        { action: 'import', patient: null, before: null, after: note },
        ...touched.map(patientNote),
        ...touchedTables.map(growthTableNote),
      ],
      records: {
        patients: ledger.patients + written.added.length - written.removed.length,
        patientSeals: adjustSealSum(ledger.patientSeals, written.added, written.removed),
        growthTableSeals: adjustSealSum(ledger.growthTableSeals, tables.added, tables.removed),
      },
    };
  });
}

/** Replaces patients by what they have become; returns the seals that came and went. */
export async function replacePatients(
  transaction: WriteTransaction,
  sealer: Sealer,
  touched: readonly TouchedPatient[],
  path: string,
): Promise<{ added: string[]; removed: string[] }> {
  const codes = touched.map(({ code }) => code);
  const inStore = await sealsInStore(transaction, codes);
  for (const { code, before } of touched) {
    const expected = before === null ? undefined : sealer.patient(before);
    if (inStore.get(code) !== expected) throw new StoreError('store-changed', path, `Patient ${code}`);
  }
  const histories = touched.map(({ after }): SealedHistory => ({
    history: after,
    seal: sealer.patient(after),
  }));
  await deletePatients(transaction, [...inStore.keys()]);
  await insertPatients(transaction, histories);
  return { added: histories.map(({ seal }) => seal), removed: [...inStore.values()] };
}

/** What does not fit the schema must not get in: the store could never be read again. */
function requireRecords(touched: readonly TouchedPatient[]): void {
  const seen = new Set<string>();
  for (const { code, after } of touched) {
    patientHistorySchema.parse(after);
    if (after.patient.code !== code)
      throw new TypeError(`touched patient ${code} is patient ${after.patient.code}`);
    if (seen.has(code)) throw new TypeError(`patient ${code} is touched twice`);
    seen.add(code);
  }
}

function patientNote({ code, before, after }: TouchedPatient): AuditNote {
  return { action: before === null ? 'patient-added' : 'patient-changed', patient: code, before, after };
}
