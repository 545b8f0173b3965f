import { eq } from 'drizzle-orm';
import { z } from 'zod';
import { isoDateSchema } from '@longhold/core/records';
import { readingWithin, type Database, type ReadTransaction, type WriteTransaction } from './database';
import { StoreError } from './errors';
import { guarded } from './guarded-columns';
import { settings } from './schema';
import type { Sealer } from './seals';

/** A question of Outcomes under a name: the address that asks it again. */
export const savedViewSchema = z.strictObject({
  name: z.string().trim().min(1, 'a name').max(60, 'a name of at most 60 characters'),
  address: z
    .string()
    .max(1000)
    .regex(/^#\/outcomes\/[a-z]+(\?[\w%&=.+~*-]*)?$/, 'an address of Outcomes'),
});
export type SavedView = z.infer<typeof savedViewSchema>;

/** What a store can be told about itself. `demo` marks an invented study and fixes the day it is looked at; `views`
 * are saved questions. */
export const SETTING_SCHEMAS = {
  demo: z.strictObject({ today: isoDateSchema }),
  views: z.array(savedViewSchema).max(100, 'at most 100 saved views'),
} as const;
export type SettingKey = keyof typeof SETTING_SCHEMAS;
export type SettingValue<K extends SettingKey> = z.infer<(typeof SETTING_SCHEMAS)[K]>;
/** The same, so that a value's type follows from its key. */
const SCHEMA_OF: { readonly [K in SettingKey]: z.ZodType<SettingValue<K>> } = SETTING_SCHEMAS;

/** A setting's value; null when it was never written. */
export async function readSettingRow<K extends SettingKey>(
  database: Database,
  transaction: ReadTransaction,
  sealer: Sealer,
  key: K,
): Promise<SettingValue<K> | null> {
  const query = database.build
    .select({ value: guarded(settings.value), seal: guarded(settings.seal) })
    .from(settings)
    .where(eq(settings.key, key));
  const row = (await transaction.rows(query))[0];
  return row === undefined ? null : understood(key, { value: row[0], seal: row[1] }, sealer, database.path);
}

/** Writes a setting and returns what it was before. */
export async function writeSettingRow<K extends SettingKey>(
  database: Database,
  transaction: WriteTransaction,
  sealer: Sealer,
  setting: { readonly key: K; readonly value: SettingValue<K> },
): Promise<SettingValue<K> | null> {
  const { key } = setting;
  const before = await readSettingRow(database, readingWithin(transaction), sealer, key);
  const value = JSON.stringify(SCHEMA_OF[key].parse(setting.value));
  const row = { value, seal: sealer.setting(key, value) };
  await transaction
    .insert(settings)
    .values({ key, ...row })
    .onConflictDoUpdate({ target: settings.key, set: row });
  return before;
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
  return SCHEMA_OF[key].parse(JSON.parse(row.value));
}
