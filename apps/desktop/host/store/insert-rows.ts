import { getTableColumns, sql } from 'drizzle-orm';
import type { SQLiteTable } from 'drizzle-orm/sqlite-core';
import type { WriteTransaction } from './database';

/** SQLite takes 32,766 parameters in a statement; fewer rows than that allows keep building the statement cheap. */
const MOST_PARAMETERS = 8_000;

/** Inserts many rows with few statements. */
export async function insertRows<T extends SQLiteTable>(
  transaction: WriteTransaction,
  table: T,
  rows: readonly T['$inferInsert'][],
): Promise<void> {
  const columns = getTableColumns(table);
  const names = Object.keys(columns);
  const size = Math.floor(MOST_PARAMETERS / names.length);
  // Placeholders hand null to a column's own encoder, which makes "no" of an unknown yes-or-no.
  const neverNull = Object.values(columns).every((column) => column.notNull);
  const batches = [...inBatches(rows, size)];
  if (neverNull && batches.length > 2) {
    const full = batches.filter((batch) => batch.length === size);
    await insertFullBatches(transaction, table, names, full);
    batches.splice(0, full.length);
  }
  for (const batch of batches) await transaction.insert(table).values(batch);
}

/** Putting a large statement together costs more than running it, so here it is done once for all batches. */
async function insertFullBatches<T extends SQLiteTable>(
  transaction: WriteTransaction,
  table: T,
  names: readonly string[],
  batches: readonly T['$inferInsert'][][],
): Promise<void> {
  const slots = (batches[0] ?? []).map((_row, index) =>
    Object.fromEntries(names.map((name) => [name, sql.placeholder(`${index} ${name}`)])),
  );
  const statement = transaction
    .insert(table)
    .values(slots as T['$inferInsert'][])
    .prepare();
  for (const batch of batches) {
    const filling: Record<string, unknown> = {};
    batch.forEach((row, index) => {
      for (const name of names) filling[`${index} ${name}`] = Reflect.get(row, name);
    });
    await statement.run(filling);
  }
}

export function* inBatches<T>(items: readonly T[], size: number): Generator<T[]> {
  for (let start = 0; start < items.length; start += size) yield items.slice(start, start + size);
}
