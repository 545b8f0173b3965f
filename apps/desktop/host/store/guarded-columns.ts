import { getTableColumns, sql, type SQL } from 'drizzle-orm';
import type { SQLiteColumn, SQLiteTable } from 'drizzle-orm/sqlite-core';

/**
 * Selects a column so that a damaged page can't bring the program down: the driver aborts the whole process when it
 * meets text that is not UTF-8, and throws at integers beyond 2^53. Text other than plain ASCII comes as bytes
 * instead (see `plainValue`), such integers as text, for the reader to refuse. `length` stops at a zero byte,
 * `octet_length` does not.
 */
export function guarded(column: SQLiteColumn): SQL {
  return sql`CASE typeof(${column})
    WHEN 'text' THEN iif(${column} GLOB '*[^ -~]*' OR length(${column}) <> octet_length(${column}),
      CAST(${column} AS BLOB), ${column})
    WHEN 'integer' THEN iif(${column} BETWEEN -9007199254740991 AND 9007199254740991,
      ${column}, CAST(${column} AS TEXT))
    ELSE ${column} END`;
}

/** All columns of a table, guarded, in the order of the table. */
export function guardedColumns<T extends SQLiteTable>(table: T): Record<string, SQL> {
  return Object.fromEntries(
    Object.entries(getTableColumns(table)).map(([name, column]) => [name, guarded(column)]),
  );
}

const strictText = new TextDecoder('utf-8', { fatal: true, ignoreBOM: true });

/** Makes text of the bytes that `guarded` selected; bytes that are no text stay as they are, and fit no schema. */
export function plainValue(value: unknown): unknown {
  if (!(value instanceof ArrayBuffer)) return value;
  try {
    return strictText.decode(value);
  } catch {
    return value;
  }
}
