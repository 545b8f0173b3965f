import { eq } from 'drizzle-orm';
import { z } from 'zod';
import { isoDateSchema } from '@longhold/core/records';
import type { Database, ReadTransaction, WriteTransaction } from './database';
import { StoreError } from './errors';
import { settings } from './schema';
import type { Sealer } from './seals';

/** What a store can be told about itself. `demo` marks an invented study and fixes the day it is looked at. */
export const SETTING_SCHEMAS = {
  demo: z.strictObject({ today: isoDateSchema }),
} as const;
export type SettingKey = keyof typeof SETTING_SCHEMAS;
export type SettingValue<K extends SettingKey> = z.infer<(typeof SETTING_SCHEMAS)[K]>;

/** A setting's value; null when it was never written. */
export async function readSettingRow<K extends SettingKey>(
  database: Database,
  transaction: ReadTransaction,
  sealer: Sealer,
  key: K,
): Promise<SettingValue<K> | null> {
  const query = database.build
    .select({ value: settings.value, seal: settings.seal })
    .from(settings)
    .where(eq(settings.key, key));
  const row = (await transaction.rows(query))[0];
  return row === undefined ? null : understood(key, { value: row[0], seal: row[1] }, sealer, database.path);
}

/** Writes a setting and returns what it was before. */
export async function writeSettingRow<K extends SettingKey>(
  transaction: WriteTransaction,
  sealer: Sealer,
  path: string,
  setting: { readonly key: K; readonly value: SettingValue<K> },
): Promise<SettingValue<K> | null> {
  const { key } = setting;
  const old = (await transaction.select().from(settings).where(eq(settings.key, key)))[0];
  const value = JSON.stringify(SETTING_SCHEMAS[key].parse(setting.value));
  const row = { value, seal: sealer.setting(key, value) };
  await transaction
    .insert(settings)
    .values({ key, ...row })
    .onConflictDoUpdate({ target: settings.key, set: row });
  return old === undefined ? null : understood(key, old, sealer, path);
}

function understood<K extends SettingKey>(
  key: K,
  row: { readonly value: unknown; readonly seal: unknown },
  sealer: Sealer,
  path: string,
): SettingValue<K> {
  if (typeof row.value !== 'string' || sealer.setting(key, row.value) !== row.seal) {
    throw new StoreError('store-damaged', path, `table settings, row ${key}: altered outside this program`);
  }
  return SETTING_SCHEMAS[key].parse(JSON.parse(row.value));
}
