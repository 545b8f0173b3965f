import { and, asc, eq } from 'drizzle-orm';
import { importedTableSchema, type ImportedTable } from '@longhold/core/growth';
import { growthTableText, type TouchedTable } from '@longhold/core/intake';
import type { AuditNote, Authorship } from './audit';
import { changeStore } from './change';
import { readingWithin, type Database, type ReadTransaction, type WriteTransaction } from './database';
import { StoreError } from './errors';
import { guardedColumns } from './guarded-columns';
import type { Ledger } from './ledger';
import { growthTables } from './schema';
import { adjustSealSum, NO_SEALS, type Sealer } from './seals';

/** What a growth table is known by. */
export type GrowthTableKey = Pick<ImportedTable, 'name' | 'measure'>;

/**
 * Every growth table of the store, by name and measure, each checked by core's schema and against its seal, and all
 * together against the ledger.
 * @throws StoreError store-damaged; nothing is ever left out.
 */
export async function readGrowthTables(
  database: Database,
  transaction: ReadTransaction,
  sealer: Sealer,
  ledger: Ledger,
): Promise<ImportedTable[]> {
  const query = database.build
    .select(guardedColumns(growthTables))
    .from(growthTables)
    .orderBy(asc(growthTables.name), asc(growthTables.measure));
  const rows = await transaction.rows(query);
  const tables = rows.map((row) => understood(row, sealer, database.path));
  const sum = adjustSealSum(
    NO_SEALS,
    tables.map((table) => sealer.growthTable(growthTableText(table))),
    [],
  );
  if (sum !== ledger.growthTableSeals) {
    const detail = `table growth_tables holds ${tables.length} rows that are not those last written`;
    throw new StoreError('store-damaged', database.path, detail);
  }
  return tables;
}

/** Writes growth tables in place of what they were; returns the seals that came and went. */
export async function replaceGrowthTables(
  transaction: WriteTransaction,
  sealer: Sealer,
  touched: readonly TouchedTable[],
  path: string,
): Promise<{ added: string[]; removed: string[] }> {
  const added: string[] = [];
  const removed: string[] = [];
  for (const { before, after } of touched) {
    const { name, measure } = importedTableSchema.parse(after);
    const there = await sealInStore(transaction, after);
    const expected = before === null ? null : sealer.growthTable(growthTableText(before));
    if (there !== expected) throw new StoreError('store-changed', path, `Growth table ${name} of ${measure}`);
    if (there !== null) {
      removed.push(there);
      await deleteTable(transaction, after);
    }
    const content = growthTableText(after);
    const seal = sealer.growthTable(content);
    added.push(seal);
    await transaction.insert(growthTables).values({ name, measure, content, seal });
  }
  return { added, removed };
}

/** Takes a growth table away; one that is not there changes nothing. */
export function removeGrowthTable(
  database: Database,
  sealer: Sealer,
  removal: { readonly table: GrowthTableKey; readonly authorship: Authorship },
): Promise<Ledger> {
  const { table, authorship } = removal;
  return changeStore(database, sealer, authorship, async (transaction, ledger) => {
    const tables = await readGrowthTables(database, readingWithin(transaction), sealer, ledger);
    const before = tables.find(({ name, measure }) => name === table.name && measure === table.measure);
    if (before === undefined) return { notes: [] };
    await deleteTable(transaction, table);
    const gone = sealer.growthTable(growthTableText(before));
    return {
      notes: [{ action: 'growth-table-removed', patient: null, before, after: null }],
      records: { growthTableSeals: adjustSealSum(ledger.growthTableSeals, [], [gone]) },
    };
  });
}

/** What the audit trail says of a growth table that came or changed. */
export function growthTableNote({ before, after }: TouchedTable): AuditNote {
  const action = before === null ? 'growth-table-added' : 'growth-table-changed';
  return { action, patient: null, before, after };
}

async function sealInStore(transaction: WriteTransaction, table: GrowthTableKey): Promise<string | null> {
  const query = transaction.select(guardedColumns(growthTables)).from(growthTables).where(isTable(table));
  const [row] = await readingWithin(transaction).rows(query);
  return row === undefined ? null : String(row[3]);
}

async function deleteTable(transaction: WriteTransaction, table: GrowthTableKey): Promise<void> {
  await transaction.delete(growthTables).where(isTable(table));
}

function isTable({ name, measure }: GrowthTableKey) {
  return and(eq(growthTables.name, name), eq(growthTables.measure, measure));
}

function understood(row: readonly unknown[], sealer: Sealer, path: string): ImportedTable {
  const [name, measure, content, seal] = row;
  const damaged = (how: string): StoreError =>
    new StoreError('store-damaged', path, `table growth_tables, row ${String(name)}: ${how}`);
  if (typeof content !== 'string' || sealer.growthTable(content) !== seal) {
    throw damaged('altered outside this program');
  }
  const table = importedTableSchema.safeParse(JSON.parse(content));
  if (!table.success || table.data.name !== name || table.data.measure !== measure) {
    throw damaged('holds what no growth table can hold');
  }
  return table.data;
}
