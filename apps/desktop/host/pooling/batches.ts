import { BATCH_LIMIT, BODY_LIMIT, type RecordVersion } from '@longhold/core/exchange';
import { documentOf, type PoolingBook, type PoolingDocument } from '../store';
import { RECORDS_AFTER, WITHDRAWALS_FIRST } from './next-step';

/** What a batch's items may take together, so that key, definition and commas fit in too. */
const ITEMS_LIMIT = BODY_LIMIT - 10_000;
const NUMBER_DIGITS = 9;

/**
 * Documents of the outbox for items, in batches that the protocol takes, to be sent after the batches that wait.
 * Each batch's own key is drawn here, before the first sending, so that a repeated sending is the same batch.
 *
 * @param newKey a random id
 */
export function batchesOf(
  book: PoolingBook,
  definition: number,
  items: readonly RecordVersion[],
  newKey: () => string,
): PoolingDocument[] {
  const first = items[0]?.kind === 'withdrawal' ? WITHDRAWALS_FIRST : RECORDS_AFTER;
  const last = [...book.outbox.keys()]
    .filter((key) => key.startsWith(first))
    .sort()
    .at(-1);
  const next = last === undefined ? 1 : Number(last.slice(first.length)) + 1;
  return inPortions(items).map((portion, index) => {
    const number = String(next + index).padStart(NUMBER_DIGITS, '0');
    return documentOf('outbox', `${first}${number}`, { batch: newKey(), definition, items: portion });
  });
}

function inPortions(items: readonly RecordVersion[]): RecordVersion[][] {
  const portions: RecordVersion[][] = [];
  let size = 0;
  for (const item of items) {
    const own = JSON.stringify(item).length + 1;
    const latest = portions.at(-1);
    if (latest === undefined || latest.length === BATCH_LIMIT || size + own > ITEMS_LIMIT) {
      portions.push([item]);
      size = own;
    } else {
      latest.push(item);
      size += own;
    }
  }
  return portions;
}
