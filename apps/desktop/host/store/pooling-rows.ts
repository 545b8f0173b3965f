import { and, asc, eq, inArray } from 'drizzle-orm';
import type { AuditAction, Authorship } from './audit';
import { changeStore } from './change';
import { readingWithin, type Database, type ReadTransaction, type WriteTransaction } from './database';
import { StoreError } from './errors';
import { guarded, guardedColumns } from './guarded-columns';
import { inBatches, insertRows } from './insert-rows';
import type { Ledger } from './ledger';
import {
  documentText,
  emptyBook,
  poolingKind,
  takeDocument,
  type PoolingBookDraft,
  type PoolingDocument,
  type PoolingKey,
} from './pooling-documents';
import { pooling } from './schema';
import { adjustSealSum, NO_SEALS, type Sealer } from './seals';

/** A change of what the store keeps of pooling. */
export interface PoolingChange {
  /** The revision that the change was made from; another one in between refuses it. */
  readonly basedOn: number;
  /** Written in place of what stood under their keys. */
  readonly put: readonly PoolingDocument[];
  readonly remove: readonly PoolingKey[];
  readonly note: {
    readonly action: Extract<AuditAction, `pooling-${string}`>;
    /** The clinic's own code where it is about one patient. */
    readonly patient: string | null;
    /** Numbers and ids only; neither tokens nor secrets. */
    readonly after: unknown;
  };
}

/** SQLite takes many more; fewer keep a statement cheap. */
const KEYS_AT_ONCE = 500;

/**
 * All documents of pooling in a book of the caller's own, each checked by its schema and against its seal, and all together against the ledger.
 * @throws StoreError store-damaged; nothing is ever left out.
 */
export async function readPooling(
  database: Database,
  transaction: ReadTransaction,
  sealer: Sealer,
  ledger: Ledger,
): Promise<PoolingBookDraft> {
  const query = database.build
    .select(guardedColumns(pooling))
    .from(pooling)
    .orderBy(asc(pooling.kind), asc(pooling.key));
  const book = emptyBook();
  const seals = (await transaction.rows(query)).map((row) => understood(book, row, sealer, database.path));
  if (adjustSealSum(NO_SEALS, seals, []) !== ledger.poolingSeals) {
    const detail = `table pooling holds ${seals.length} rows that are not those last written`;
    throw new StoreError('store-damaged', database.path, detail);
  }
  return book;
}

/**
 * Writes a change, or nothing of it.
 * @throws StoreError store-changed where the store is not at the revision that the change was made from
 */
export function writePooling(
  database: Database,
  sealer: Sealer,
  { change, authorship }: { readonly change: PoolingChange; readonly authorship: Authorship },
): Promise<Ledger> {
  const { basedOn, put, remove, note } = change;
  return changeStore(database, sealer, authorship, async (transaction, ledger) => {
    if (ledger.revision !== basedOn)
      throw new StoreError('store-changed', database.path, 'What is kept of pooling');
    const rows = put.map((document) => {
      const { kind, key } = document;
      const content = documentText(document);
      return { kind, key, content, seal: sealer.pooling(kind, key, content) };
    });
    const gone = await takeOut(transaction, [...put, ...remove]);
    await insertRows(transaction, pooling, rows);
    const came = rows.map(({ seal }) => seal);
    return {
      notes: [{ action: note.action, patient: note.patient, before: null, after: note.after }],
      records: { poolingSeals: adjustSealSum(ledger.poolingSeals, came, gone) },
    };
  });
}

/** Deletes documents, those that are not there too; returns the seals that went. */
async function takeOut(transaction: WriteTransaction, keys: readonly PoolingKey[]): Promise<string[]> {
  const gone: string[] = [];
  const kinds = [...new Set(keys.map(({ kind }) => kind))];
  for (const kind of kinds) {
    const ofKind = keys.filter((one) => one.kind === kind).map(({ key }) => key);
    for (const some of inBatches([...new Set(ofKind)], KEYS_AT_ONCE)) {
      const meant = and(eq(pooling.kind, kind), inArray(pooling.key, some));
      const query = transaction
        .select({ seal: guarded(pooling.seal) })
        .from(pooling)
        .where(meant);
      gone.push(...(await readingWithin(transaction).rows(query)).map((row) => String(row[0])));
      await transaction.delete(pooling).where(meant);
    }
  }
  return gone;
}

function understood(book: PoolingBookDraft, row: readonly unknown[], sealer: Sealer, path: string): string {
  const [kindText, key, content, seal] = row;
  const damaged = (how: string): StoreError =>
    new StoreError('store-damaged', path, `table pooling, a row of ${String(kindText)}: ${how}`);
  const kind = poolingKind(kindText);
  if (kind === null || typeof key !== 'string' || typeof content !== 'string')
    throw damaged('of no known kind');
  if (sealer.pooling(kind, key, content) !== seal) throw damaged('altered outside this program');
  if (!takeDocument(book, kind, key, JSON.parse(content)))
    throw damaged('holds what none of its kind can hold');
  return sealer.pooling(kind, key, content);
}
