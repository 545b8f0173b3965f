import type { Authorship } from './audit';
import { changeStore } from './change';
import type { Database } from './database';
import type { Ledger } from './ledger';
import type { Sealer } from './seals';
import { writeSettingRow, type SettingKey, type SettingValue } from './settings';

/** Writes a setting with its audit entry. */
export function writeSetting<K extends SettingKey>(
  database: Database,
  sealer: Sealer,
  change: { readonly key: K; readonly value: SettingValue<K>; readonly authorship: Authorship },
): Promise<Ledger> {
  const { key, value, authorship } = change;
  return changeStore(database, sealer, authorship, async (transaction) => {
    const before = await writeSettingRow(database, transaction, sealer, { key, value });
    return {
      notes: [
        {
          action: 'setting-changed',
          patient: null,
          before: before === null ? null : { [key]: before },
          after: { [key]: value },
        },
      ],
    };
  });
}
