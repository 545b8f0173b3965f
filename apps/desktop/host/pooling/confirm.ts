import type { Wanted } from './pooling-memory';
import type { ToConfirm } from './making';
import { documentOf, type PoolingBook } from '../store';
import { batchesOf } from './batches';

/**
 * Puts what a person confirmed into the outbox, in one change: from then on it is sent, whatever happens to this program
 * meanwhile. Records of patients of whom a version waits already are left for the next time.
 */
export function confirmed(
  book: PoolingBook,
  { changes, contribution, version, sheetIsNew }: ToConfirm,
  newKey: () => string,
): Wanted {
  const waiting = new Set(
    [...book.outbox.values()].flatMap(({ items }) =>
      items.flatMap((item) => (item.kind === 'record' ? [item.record.pseudonym] : [])),
    ),
  );
  const items = [...changes.fresh, ...changes.changed].filter(({ record }) => !waiting.has(record.pseudonym));
  const sheet = { definition: version, sheet: contribution.sheet };
  if (items.length === 0 && !sheetIsNew) return null;
  return {
    put: [
      ...(items.length === 0 ? [] : batchesOf(book, version, items, newKey)),
      // After new records the sheet goes again, because it also says that all of them are there.
      documentOf('sheet', 'waiting', sheet),
    ],
    remove: [],
    note: {
      action: 'pooling-confirmed',
      patient: null,
      after: { definition: version, records: items.length, sheet: true },
    },
  };
}
