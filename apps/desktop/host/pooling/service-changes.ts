import type { DefinitionVersion, PullAnswer, PulledChange, RecordVersion } from '@longhold/core/exchange';
import { documentOf, type PoolingBook, type PoolingKey, type PoolingValue } from '../store';
import { batchesOf } from './batches';
import { linkWith } from './link-document';
import type { Wanted } from './pooling-memory';
import { versionOf } from './pseudonyms';
import { statisticsAgain } from './statistics-changes';
import { withoutRecordsOf } from './withdrawal-changes';

type Head = PoolingValue<'head'>;

/** So many earlier versions of a patient are remembered; a backup older than that would be odd. */
export const EARLIER_KEPT = 50;

/**
 * The service's store is another than before, restored from a backup: all of it is read again, every withdrawal is told
 * again, and what was known is kept aside to be repeated. Where no epoch was known yet there is nothing to repeat.
 */
export function noteEpoch(book: PoolingBook, epoch: string, newKey: () => string): Wanted {
  const link = book.link.get('link');
  if (link === undefined || link.epoch === epoch) return null;
  const after = { epoch, first: link.epoch === null };
  const note = { action: 'pooling-checked', patient: null, after } as const;
  if (link.epoch === null) return { put: [linkWith(link, { epoch })], remove: [], note };
  const aside = [...book.head].map(([pseudonym, { version, earlier, definition, record, own }]) =>
    documentOf('before', pseudonym, { versions: [...earlier, version], definition, record, own }),
  );
  const again = [...book.withdrawal].flatMap(([pseudonym, withdrawal]) =>
    withdrawal.study === link.study
      ? [documentOf('withdrawal', pseudonym, { ...withdrawal, pending: true })]
      : [],
  );
  const changedOver = [...book.changeover].flatMap(([pseudonym, one]) =>
    one.member === link.member ? [documentOf('changeover', pseudonym, { ...one, pending: true })] : [],
  );
  // Another definition may go by the number of one that was published after the backup: all are read anew.
  const forgotten = (['head', 'definition'] as const).flatMap((kind) =>
    [...book[kind].keys()].map((key): PoolingKey => ({ kind, key })),
  );
  return {
    put: [
      linkWith(link, { epoch, cursor: 0, definition: null }),
      ...aside,
      ...again,
      ...changedOver,
      ...statisticsAgain(book, newKey),
    ],
    remove: forgotten,
    note,
  };
}

/** Once the restored service was read: what the clinic had there, and it lacks or has only as it was earlier, goes again. */
export function queueRepeats(book: PoolingBook, newKey: () => string): Wanted {
  const link = book.link.get('link');
  if (link === undefined || book.before.size === 0) return null;
  const waiting = recordsWaiting(book);
  const items = [...book.before].flatMap(([pseudonym, before]): RecordVersion[] => {
    const head = book.head.get(pseudonym);
    const isLatest = head !== undefined && (!head.own || head.version === before.versions.at(-1));
    const mayNot = book.withdrawal.has(pseudonym) || before.definition !== link.definition;
    if (!before.own || isLatest || mayNot || waiting.has(pseudonym)) return [];
    const basedOn = head?.version ?? null;
    const { record } = before;
    return [{ kind: 'record', basedOn, version: versionOf(basedOn, record), record }];
  });
  const sent = book.sheet.get('sent');
  const sheet =
    sent !== undefined && sent.definition === link.definition && !book.sheet.has('waiting')
      ? [documentOf('sheet', 'waiting', sent)]
      : [];
  return {
    put: [...(items.length === 0 ? [] : batchesOf(book, link.definition ?? 1, items, newKey)), ...sheet],
    remove: [...book.before.keys()].map((key): PoolingKey => ({ kind: 'before', key })),
    note: { action: 'pooling-confirmed', patient: null, after: { repeated: items.length } },
  };
}

function recordsWaiting(book: PoolingBook): Set<string> {
  const items = [...book.outbox.values()].flatMap((batch) => batch.items);
  return new Set(items.flatMap((item) => (item.kind === 'record' ? [item.record.pseudonym] : [])));
}

/** A study definition as it was read. What waits under another one is not sent any more. */
export function noteDefinition(book: PoolingBook, { version, definition }: DefinitionVersion): Wanted {
  const link = book.link.get('link');
  if (link === undefined) return null;
  const stale = staleBatches(book, version);
  const sheet = book.sheet.get('waiting');
  const staleSheet: PoolingKey[] =
    sheet !== undefined && sheet.definition !== version ? [{ kind: 'sheet', key: 'waiting' }] : [];
  const staleStatistics: PoolingKey[] = areStatisticsStale(book, version)
    ? [{ kind: 'statistics', key: 'waiting' }]
    : [];
  return {
    put: [documentOf('definition', String(version), definition), linkWith(link, { definition: version })],
    remove: [...stale, ...staleSheet, ...staleStatistics],
    note: { action: 'pooling-checked', patient: null, after: { definition: version, notSent: stale.length } },
  };
}

/** Whether statistics wait that were made under another definition than this one. */
export function areStatisticsStale(book: PoolingBook, version: number): boolean {
  const counted = book.statistics.get('waiting')?.counted ?? null;
  return counted !== null && counted.statistics.definition !== version;
}

/** Batches with records that were made under another definition than this one. */
export function staleBatches(book: PoolingBook, version: number): PoolingKey[] {
  return [...book.outbox].flatMap(([key, { definition, items }]): PoolingKey[] =>
    definition !== version && items.some(({ kind }) => kind === 'record') ? [{ kind: 'outbox', key }] : [],
  );
}

/**
 * Takes a batch of records out of the outbox that the service will never take, so that it doesn't stand in the way of
 * all others; its patients are shown again as not sent. Withdrawals stay, whatever the service says.
 */
export function discardRefused(book: PoolingBook, key: string, batch: string): Wanted {
  const waiting = book.outbox.get(key);
  if (waiting?.batch !== batch || waiting.items.some(({ kind }) => kind === 'withdrawal')) return null;
  return {
    put: [],
    remove: [{ kind: 'outbox', key }],
    note: { action: 'pooling-fault', patient: null, after: { batch, refusedRecords: waiting.items.length } },
  };
}

/**
 * Brings in what the service holds of the clinic since the last time.
 *
 * @param pseudonymOf the pseudonym behind a tombstone, with the clinic's own code; null where it is not known here
 */
export function notePull(
  book: PoolingBook,
  answer: PullAnswer,
  given: {
    readonly pseudonymOf: (tombstone: string) => { pseudonym: string; code: string | null } | null;
    readonly at: string;
    readonly newKey: () => string;
  },
): Wanted {
  const link = book.link.get('link');
  if (link === undefined || (answer.changes.length === 0 && answer.next === link.cursor)) return null;
  const own = answer.changes.filter(({ member }) => member === link.member);
  const records = own.flatMap((change) =>
    change.kind === 'record' ? [documentOf('head', change.record.pseudonym, pulledHead(book, change))] : [],
  );
  const gone = own.flatMap((change) =>
    change.kind === 'withdrawal' ? (given.pseudonymOf(change.tombstone) ?? []) : [],
  );
  const news = gone.filter(
    ({ pseudonym }) => !book.withdrawal.has(pseudonym) && !book.changeover.has(pseudonym),
  );
  const waiting = withoutRecordsOf(book, new Set(gone.map(({ pseudonym }) => pseudonym)), given.newKey);
  return {
    put: [
      linkWith(link, { cursor: answer.next }),
      ...records,
      ...waiting.put,
      ...news.map(({ pseudonym, code }) => {
        const { study, member } = link;
        const known = { study, code, askedAt: given.at, pending: false, receipt: null };
        // Where statistics are sent, records are gone because the clinic changed over.
        return link.sends === 'statistics'
          ? documentOf('changeover', pseudonym, { ...known, member })
          : documentOf('withdrawal', pseudonym, { ...known, reason: 'by-another-desktop', from: 'records' });
      }),
    ],
    remove: [
      ...waiting.remove,
      ...gone.map(({ pseudonym }): PoolingKey => ({ kind: 'head', key: pseudonym })),
    ],
    note: {
      action: 'pooling-checked',
      patient: null,
      after: { records: records.length, withdrawn: gone.length, upTo: answer.next },
    },
  };
}

/** A version is this desktop's own where it sent it, also where the answer never came, or where its own follows from it. */
function pulledHead(book: PoolingBook, change: Extract<PulledChange, { kind: 'record' }>): Head {
  const { version, definition, sequence, record } = change;
  const known = book.head.get(record.pseudonym);
  if (known?.version === version) return { ...known, definition, sequence, record };
  const before = book.before.get(record.pseudonym);
  const wasSent = [...book.outbox.values()].some(({ items }) =>
    items.some((item) => item.kind === 'record' && item.version === version),
  );
  const own = wasSent || (before?.own === true && before.versions.includes(version));
  const earlier = known === undefined ? [] : [...known.earlier, known.version].slice(-EARLIER_KEPT);
  return { version, definition, sequence, record, own, keptAgainst: null, earlier };
}
