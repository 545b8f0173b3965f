import type { ItemAnswer, PushAnswer, RecordVersion } from '@longhold/core/exchange';
import {
  documentOf,
  type PoolingBook,
  type PoolingDocument,
  type PoolingKey,
  type PoolingValue,
} from '../store';
import type { Wanted } from './pooling-memory';
import { linkWith } from './link-document';
import { EARLIER_KEPT } from './service-changes';

/** How many items of a batch ended in which way. */
type Tally = { -readonly [Key in 'records' | 'withdrawals' | 'conflicts' | 'refusedAsWithdrawn']: number };

/**
 * Brings in what the service says of a batch, and takes the batch out of the outbox: one change, so that a batch is
 * either still to be sent or acknowledged in all its parts. A batch that is no longer there changes nothing.
 */
export function acknowledged(book: PoolingBook, key: string, answer: PushAnswer, at: string): Wanted {
  const link = book.link.get('link');
  const batch = book.outbox.get(key);
  if (link === undefined || batch === undefined || batch.batch !== answer.batch) return null;
  const put: PoolingDocument[] = [];
  const remove: PoolingKey[] = [{ kind: 'outbox', key }];
  const tally: Tally = { records: 0, withdrawals: 0, conflicts: 0, refusedAsWithdrawn: 0 };
  batch.items.forEach((item, index) => {
    const outcome = answer.items[index];
    if (outcome === undefined) return;
    const became = becameOf(book, { item, outcome, definition: batch.definition, study: link.study, at });
    put.push(...became.put);
    remove.push(...became.remove);
    tally[became.counts] += 1;
  });
  const { definition } = batch;
  return {
    put: [
      ...put,
      documentOf('sent', batch.batch, { at, study: link.study, definition, ...tally, statistics: null }),
      linkWith(link, { lastSent: at }),
    ],
    remove,
    note: { action: 'pooling-acknowledged', patient: null, after: { batch: batch.batch, ...tally } },
  };
}

interface Became {
  readonly put: readonly PoolingDocument[];
  readonly remove: readonly PoolingKey[];
  readonly counts: keyof Tally;
}

interface ItemGiven {
  readonly item: RecordVersion;
  readonly outcome: ItemAnswer;
  readonly definition: number;
  readonly study: string;
  readonly at: string;
}

function becameOf(book: PoolingBook, { item, outcome, definition, study, at }: ItemGiven): Became {
  const { pseudonym } = outcome;
  const headGone: PoolingKey[] = [{ kind: 'head', key: pseudonym }];
  switch (outcome.kind) {
    case 'withdrawn': {
      const given = { pending: false, receipt: { ...outcome.receipt, patients: null } };
      const changed = book.changeover.get(pseudonym);
      const asked = book.withdrawal.get(pseudonym);
      const put: PoolingDocument[] = [];
      if (changed !== undefined) put.push(documentOf('changeover', pseudonym, { ...changed, ...given }));
      if (changed === undefined || asked?.pending === true)
        put.push(documentOf('withdrawal', pseudonym, { ...withdrawalOf(asked, study, at), ...given }));
      return { put, remove: headGone, counts: 'withdrawals' };
    }
    case 'gone': {
      const known = withdrawalOf(book.withdrawal.get(pseudonym), study, at);
      return {
        put: [documentOf('withdrawal', pseudonym, known)],
        remove: headGone,
        counts: 'refusedAsWithdrawn',
      };
    }
    case 'conflict':
      // What the service holds instead comes with the next reading, with the definition it was made under.
      return { put: [], remove: [], counts: 'conflicts' };
    default:
      return {
        put: item.kind === 'record' ? storedHead(book, item, outcome.sequence, definition) : [],
        remove: [],
        counts: 'records',
      };
  }
}

/** A withdrawal as it is known; one that is not known here was asked for by another desktop. */
function withdrawalOf(
  known: PoolingValue<'withdrawal'> | undefined,
  study: string,
  at: string,
): PoolingValue<'withdrawal'> {
  return (
    known ?? {
      study,
      code: null,
      reason: 'by-another-desktop',
      askedAt: at,
      from: 'records',
      pending: false,
      receipt: null,
    }
  );
}

function storedHead(
  book: PoolingBook,
  { record, version }: Extract<RecordVersion, { kind: 'record' }>,
  sequence: number,
  definition: number,
): PoolingDocument[] {
  const known = book.head.get(record.pseudonym);
  // A newer version of another desktop was read already; an earlier sending of ours had arrived before it.
  if (known !== undefined && known.version !== version && known.sequence > sequence) return [];
  const before = known === undefined ? [] : [...known.earlier, known.version];
  const earlier = known?.version === version ? known.earlier : before.slice(-EARLIER_KEPT);
  const head = { version, definition, sequence, record, own: true, keptAgainst: null, earlier };
  return [documentOf('head', record.pseudonym, head)];
}
