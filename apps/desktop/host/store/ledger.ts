import { eq } from 'drizzle-orm';
import { z } from 'zod';
import type { Database, ReadTransaction, WriteTransaction } from './database';
import { StoreError } from './errors';
import { guarded } from './guarded-columns';
import { settings } from './schema';
import { NO_SEALS, type Sealer } from './seals';

const LEDGER_KEY = 'ledger';
const sealText = z.string().regex(/^[0-9a-f]{64}$/);

/**
 * What a store knows of itself as a whole; written with each change, in the same transaction.
 * `revision` counts the changes; `patientSeals` is the sum of all patients' seals, `growthTableSeals` that of all growth
 * tables' and `poolingSeals` that of all documents of pooling (none in a store that never held one), `lastAuditSeal` the end of the audit trail's chain ('' while empty).
 */
const ledgerSchema = z.strictObject({
  revision: z.int().min(0),
  patients: z.int().min(0),
  patientSeals: sealText,
  growthTableSeals: sealText.default(NO_SEALS),
  poolingSeals: sealText.default(NO_SEALS),
  auditEntries: z.int().min(0),
  lastAuditSeal: z.union([sealText, z.literal('')]),
});
export type Ledger = z.infer<typeof ledgerSchema>;

export const EMPTY_LEDGER: Ledger = Object.freeze({
  revision: 0,
  patients: 0,
  patientSeals: NO_SEALS,
  growthTableSeals: NO_SEALS,
  poolingSeals: NO_SEALS,
  auditEntries: 0,
  lastAuditSeal: '',
});

export async function readLedger(
  database: Database,
  transaction: ReadTransaction,
  sealer: Sealer,
): Promise<Ledger> {
  const query = database.build
    .select({ value: guarded(settings.value), seal: guarded(settings.seal) })
    .from(settings)
    .where(eq(settings.key, LEDGER_KEY));
  const row = (await transaction.rows(query))[0];
  return understandLedger(row?.[0], row?.[1], sealer, database.path);
}

export async function writeLedger(
  transaction: WriteTransaction,
  ledger: Ledger,
  sealer: Sealer,
): Promise<void> {
  const value = JSON.stringify(ledger);
  const row = { value, seal: sealer.setting(LEDGER_KEY, value) };
  await transaction
    .insert(settings)
    .values({ key: LEDGER_KEY, ...row })
    .onConflictDoUpdate({ target: settings.key, set: row });
}

function understandLedger(value: unknown, seal: unknown, sealer: Sealer, path: string): Ledger {
  if (typeof value !== 'string') {
    throw new StoreError('store-damaged', path, 'table settings has no row ledger');
  }
  if (sealer.setting(LEDGER_KEY, value) !== seal) {
    throw new StoreError('store-damaged', path, 'table settings, row ledger: altered outside this program');
  }
  return ledgerSchema.parse(JSON.parse(value));
}
