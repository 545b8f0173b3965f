import type { RecordVersion } from '@longhold/core/exchange';
import {
  documentOf,
  type PoolingBook,
  type PoolingDocument,
  type PoolingKey,
  type PoolingValue,
  type Sending,
} from '../store';
import { batchesOf } from './batches';
import { unqueuedWithdrawals } from './next-step';
import type { Wanted } from './pooling-memory';

/** A patient to be withdrawn for good. */
export interface ToWithdraw {
  readonly pseudonym: string;
  /** Null where the store has no such patient. */
  readonly code: string | null;
  readonly reason: PoolingValue<'withdrawal'>['reason'];
  readonly from: Sending;
}

/** Writes withdrawals down as asked for, and takes the patients' records out of what waits to be sent. */
export function askWithdrawals(
  book: PoolingBook,
  patients: readonly ToWithdraw[],
  { at, newKey }: { readonly at: string; readonly newKey: () => string },
): Wanted {
  const link = book.link.get('link');
  const fresh = patients.filter(({ pseudonym }) => !book.withdrawal.has(pseudonym));
  if (link === undefined || fresh.length === 0) return null;
  const asked = fresh.map(({ pseudonym, code, reason, from }) =>
    documentOf('withdrawal', pseudonym, {
      study: link.study,
      code,
      reason,
      from,
      askedAt: at,
      pending: true,
      receipt: null,
    }),
  );
  const { put, remove } = withoutRecordsOf(book, new Set(fresh.map(({ pseudonym }) => pseudonym)), newKey);
  return {
    put: [...asked, ...put],
    remove,
    note: {
      action: 'pooling-withdrawal',
      patient: fresh.length === 1 ? (fresh[0]?.code ?? null) : null,
      after: { patients: fresh.length, reasons: [...new Set(fresh.map(({ reason }) => reason))] },
    },
  };
}

/**
 * What waits to be sent, without the records of some patients. A batch that loses items becomes another one under a
 * key of its own; if it had been sent already, its other records are there and are recognised.
 */
export function withoutRecordsOf(
  book: PoolingBook,
  pseudonyms: ReadonlySet<string>,
  newKey: () => string,
): { readonly put: PoolingDocument[]; readonly remove: PoolingKey[] } {
  const put: PoolingDocument[] = [];
  const remove: PoolingKey[] = [];
  for (const [key, batch] of book.outbox) {
    const items = batch.items.filter(
      (item) => item.kind === 'withdrawal' || !pseudonyms.has(item.record.pseudonym),
    );
    if (items.length === batch.items.length) continue;
    if (items.length === 0) remove.push({ kind: 'outbox', key });
    else put.push(documentOf('outbox', key, { ...batch, batch: newKey(), items }));
  }
  return { put, remove };
}

/** Puts withdrawals that are in no batch into the outbox. They are taken under any study definition. */
export function queueWithdrawals(book: PoolingBook, newKey: () => string): Wanted {
  const items = unqueuedWithdrawals(book).map((pseudonym): RecordVersion => {
    return { kind: 'withdrawal', pseudonym };
  });
  if (items.length === 0) return null;
  const definition = book.link.get('link')?.definition ?? 1;
  return {
    put: batchesOf(book, definition, items, newKey),
    remove: [],
    note: { action: 'pooling-confirmed', patient: null, after: { withdrawals: items.length } },
  };
}
