import { sql, type SQL } from 'drizzle-orm';
import { z } from 'zod';
import { STORED_TABLES, type StoredRow, type StoredTable, type StoredValue } from './sync-store';

/** Values in one statement; SQLite takes 32766 at most, PostgreSQL 65535. */
const MOST_VALUES = 8_000;

/** Drivers give large integers as text where they might not fit a number; ours all do. */
export const count = z.union([z.string(), z.number()]).transform(Number).pipe(z.int().min(0));
export const flag = z.coerce.number().transform((value) => value === 1);

/** The rows of a statement in the shape that is expected of them. */
export type Ask = <Row>(schema: z.ZodType<Row>, statement: SQL) => Promise<Row[]>;
export type Run = (statement: SQL) => Promise<void>;

/**
 * Runs a statement with its values. The statement is made with the database's own mark for the value at a place, counted
 * from 1: SQLite takes long to read numbered ones.
 */
export type Insert = (
  statement: (mark: (place: number) => string) => string,
  values: readonly StoredValue[],
) => Promise<void>;

/**
 * Writes rows with as few statements as the databases allow. Their text is written out here: putting it together from
 * parts took longer than the database takes to store the rows.
 */
export async function loadRows(
  insert: Insert,
  table: StoredTable,
  rows: readonly StoredRow[],
): Promise<void> {
  const { columns } = STORED_TABLES[table];
  const step = Math.max(1, Math.floor(MOST_VALUES / columns.length));
  for (let from = 0; from < rows.length; from += step) {
    const some = rows.slice(from, from + step);
    await insert((mark) => {
      const tuples = some.map((_row, at) => {
        const marks = columns.map((_column, place) => mark(at * columns.length + place + 1));
        return `(${marks.join(',')})`;
      });
      return `INSERT INTO ${table} (${columns.join(', ')}) VALUES ${tuples.join(',')}`;
    }, some.flat());
  }
}

/** Column names in the order given, quoted. */
export function named(columns: readonly string[]): SQL {
  return sql.join(
    columns.map((column) => sql.identifier(column)),
    sql.raw(', '),
  );
}

/** The first row; null where there is none. */
export function firstOf<Row>(rows: readonly Row[]): Row | null {
  return rows[0] ?? null;
}

/** The only row. @throws Error where there is none, or more than one. */
export function theOne<Row>(rows: readonly Row[]): Row {
  const [row] = rows;
  if (row === undefined || rows.length > 1)
    throw new Error('the store holds one study, and it was not found');
  return row;
}
