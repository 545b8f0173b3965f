import { inArray, max } from 'drizzle-orm';
import type { PatientHistory } from '@longhold/core/records';
import { readingWithin, type WriteTransaction } from './database';
import { guarded } from './guarded-columns';
import { inBatches, insertRows } from './insert-rows';
import { events, measurements, patients, visits } from './schema';

const CODES_IN_ONE_QUERY = 500;

/** A patient to write, with the seal of its new history. */
export interface SealedHistory {
  readonly history: PatientHistory;
  readonly seal: string;
}

/** The seals of those of the patients that the store holds. */
export async function sealsInStore(
  transaction: WriteTransaction,
  codes: readonly string[],
): Promise<Map<string, string>> {
  const seals = new Map<string, string>();
  for (const batch of inBatches(codes, CODES_IN_ONE_QUERY)) {
    const query = transaction
      .select({ code: guarded(patients.code), seal: guarded(patients.seal) })
      .from(patients)
      .where(inArray(patients.code, batch));
    for (const [code, seal] of await readingWithin(transaction).rows(query)) {
      seals.set(String(code), String(seal));
    }
  }
  return seals;
}

/** Removes all rows of the patients. Children go first: the store checks its references. */
export async function deletePatients(transaction: WriteTransaction, codes: readonly string[]): Promise<void> {
  for (const batch of inBatches(codes, CODES_IN_ONE_QUERY)) {
    const theirVisits = transaction
      .select({ id: visits.id })
      .from(visits)
      .where(inArray(visits.patientCode, batch));
    await transaction.delete(measurements).where(inArray(measurements.visitId, theirVisits));
    await transaction.delete(visits).where(inArray(visits.patientCode, batch));
    await transaction.delete(events).where(inArray(events.patientCode, batch));
    await transaction.delete(patients).where(inArray(patients.code, batch));
  }
}

/** Writes patients that the store does not hold, with all that belongs to them. */
export async function insertPatients(
  transaction: WriteTransaction,
  histories: readonly SealedHistory[],
): Promise<void> {
  let visitId = await lastVisitId(transaction);
  const visitRows: (typeof visits.$inferInsert)[] = [];
  const measurementRows: (typeof measurements.$inferInsert)[] = [];
  const eventRows: (typeof events.$inferInsert)[] = [];
  for (const { history } of histories) {
    const patientCode = history.patient.code;
    for (const { measurements: readings, ...visit } of history.visits) {
      visitId++;
      visitRows.push({ id: visitId, patientCode, ...visit });
      readings.forEach((reading, position) => measurementRows.push({ visitId, position, ...reading }));
    }
    history.events.forEach((event, position) => eventRows.push({ patientCode, position, ...event }));
  }
  await insertRows(
    transaction,
    patients,
    histories.map(({ history, seal }) => ({ ...history.patient, seal })),
  );
  await insertRows(transaction, visits, visitRows);
  await insertRows(transaction, measurements, measurementRows);
  await insertRows(transaction, events, eventRows);
}

async function lastVisitId(transaction: WriteTransaction): Promise<number> {
  const rows = await transaction.select({ last: max(visits.id) }).from(visits);
  return rows[0]?.last ?? 0;
}
