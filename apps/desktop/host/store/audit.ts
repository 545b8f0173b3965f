import { desc, lt } from 'drizzle-orm';
import { z } from 'zod';
import { patientCodeSchema } from '@longhold/core/records';
import type { Database, ReadTransaction, WriteTransaction } from './database';
import { StoreError } from './errors';
import { guardedColumns } from './guarded-columns';
import { insertRows } from './insert-rows';
import type { Ledger } from './ledger';
import { audit } from './schema';
import type { Sealer } from './seals';

/** What can be done to a store. */
export const auditActionSchema = z.enum([
  'import',
  'patient-added',
  'patient-changed',
  'event-recorded',
  'growth-table-added',
  'growth-table-changed',
  'growth-table-removed',
  'setting-changed',
  'pooling-linked',
  'pooling-unlinked',
  'pooling-checked',
  'pooling-confirmed',
  'pooling-acknowledged',
  'pooling-withdrawal',
  'pooling-choice',
  'pooling-fault',
]);
export type AuditAction = z.infer<typeof auditActionSchema>;

/** When a change was made (ISO 8601, universal time) and by whom (a name or a program). */
export const authorshipSchema = z.strictObject({ at: z.iso.datetime(), actor: z.string().min(1).max(100) });
export type Authorship = z.infer<typeof authorshipSchema>;

/**
 * One entry of the audit trail. `before` and `after` are what was there and what is there now, null for nothing.
 * They keep the form they had when they were written, which an older version of the program may have chosen.
 */
export const auditEntrySchema = authorshipSchema.extend({
  id: z.int().min(1),
  action: auditActionSchema,
  patient: patientCodeSchema.nullable(),
  before: z.unknown(),
  after: z.unknown(),
});
export type AuditEntry = z.infer<typeof auditEntrySchema>;

/** An entry before it has its place in the trail. */
export type AuditNote = Pick<AuditEntry, 'action' | 'patient' | 'before' | 'after'>;

type AuditRow = typeof audit.$inferSelect;

/** Adds notes to the end of the trail, in order, and returns the ledger that knows of them. */
export async function appendAudit(
  transaction: WriteTransaction,
  ledger: Ledger,
  sealer: Sealer,
  entry: { readonly authorship: Authorship; readonly notes: readonly AuditNote[] },
): Promise<Ledger> {
  const { at, actor } = authorshipSchema.parse(entry.authorship);
  let { auditEntries, lastAuditSeal } = ledger;
  const rows = entry.notes.map((note): AuditRow => {
    auditEntries++;
    const fields = {
      id: auditEntries,
      at,
      actor,
      action: note.action,
      patientCode: note.patient,
      before: asJson(note.before),
      after: asJson(note.after),
    };
    lastAuditSeal = sealer.auditEntry(lastAuditSeal, Object.values(fields));
    return { ...fields, seal: lastAuditSeal };
  });
  await insertRows(transaction, audit, rows);
  return { ...ledger, auditEntries, lastAuditSeal };
}

/**
 * Entries with an id below `before` (null: from the end of the trail), newest first, at most `limit`. The chain of
 * seals is followed over all that is returned.
 */
export async function readAudit(
  database: Database,
  transaction: ReadTransaction,
  sealer: Sealer,
  page: { readonly ledger: Ledger; readonly limit: number; readonly before: number | null },
): Promise<AuditEntry[]> {
  const { ledger, limit } = page;
  const last = Math.min(ledger.auditEntries, (page.before ?? Infinity) - 1);
  const query = database.build
    .select(guardedColumns(audit))
    .from(audit)
    .where(lt(audit.id, last + 1))
    .orderBy(desc(audit.id))
    // One more than asked for: an entry is proved by the seal of the one before it.
    .limit(limit + 1);
  const rows = (await transaction.rows(query)).map(toAuditRow);
  const wanted = Math.min(limit, last);
  return Array.from({ length: Math.max(0, wanted) }, (_unused, index) => {
    const row = rows[index];
    const id = last - index;
    if (row === undefined || row.id !== id) throw damaged(database.path, id, 'is missing');
    const { seal, ...fields } = row;
    const expected = sealer.auditEntry(rows[index + 1]?.seal ?? '', Object.values(fields));
    const isLast = id === ledger.auditEntries;
    if (seal !== expected || (isLast && seal !== ledger.lastAuditSeal)) {
      throw damaged(database.path, id, 'was altered outside this program');
    }
    return toEntry(row, database.path);
  });
}

function toEntry(row: AuditRow, path: string): AuditEntry {
  const { id, at, actor, action, patientCode, before, after } = row;
  const entry = {
    id,
    at,
    actor,
    action,
    patient: patientCode,
    before: fromJson(before),
    after: fromJson(after),
  };
  const checked = auditEntrySchema.safeParse(entry);
  if (!checked.success) throw damaged(path, row.id, 'holds what no entry can hold');
  return checked.data;
}

function toAuditRow(row: unknown[]): AuditRow {
  const [id, at, actor, action, patientCode, before, after, seal] = row;
  return {
    id: Number(id),
    at: String(at),
    actor: String(actor),
    action: String(action),
    patientCode: textOrNull(patientCode),
    before: textOrNull(before),
    after: textOrNull(after),
    seal: String(seal),
  };
}

function textOrNull(value: unknown): string | null {
  return value === null ? null : String(value);
}

function asJson(value: unknown): string | null {
  return value === null ? null : JSON.stringify(value);
}

function fromJson(text: string | null): unknown {
  return text === null ? null : JSON.parse(text);
}

function damaged(path: string, id: number, how: string): StoreError {
  return new StoreError('store-damaged', path, `table audit, row ${id}: ${how}`);
}
