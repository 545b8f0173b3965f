import type { ProcedureAnswer, ProcedureInput } from '@longhold/core/exchange';
import {
  documentOf,
  type PoolingBook,
  type PoolingDocument,
  type PoolingKey,
  type PoolingValue,
} from '../store';
import type { Counted } from '../store';
import type { MadeStatistics } from './made-statistics';
import type { Wanted } from './pooling-memory';
import { linkWith } from './link-document';
import { countedOf, isHeldKnown, pendingFromStatistics } from './who-is-in-pool';
import { confirmedLast, type WithoutWithdrawn } from './without-withdrawn';

type Waiting = PoolingValue<'statistics'>;

/** The one place in the outbox for statistics: newer ones take the place of those that wait. */
const WAITING = { kind: 'statistics', key: 'waiting' } as const;

/**
 * Writes statistics into the outbox. They may arrive without an answer that says so, so who is in them is remembered
 * until the service acknowledges some.
 */
function waitingWith(waiting: Waiting): PoolingDocument[] {
  const { counted } = waiting;
  const offered =
    counted === null
      ? []
      : [
          documentOf('offered', counted.digest, {
            pseudonyms: counted.records.map(({ pseudonym }) => pseudonym),
          }),
        ];
  return [documentOf('statistics', 'waiting', waiting), ...offered];
}

/** Puts the statistics that a person confirmed into the outbox. Withdrawals that waited go with them. */
export function confirmedStatistics(
  book: PoolingBook,
  { counted, replaces, withdraws }: Pick<MadeStatistics, 'counted' | 'replaces' | 'withdraws'>,
  newId: () => string,
): Wanted {
  const all = [...new Set([...withdraws, ...(book.statistics.get('waiting')?.withdraws ?? [])])].sort();
  const { definition, treated, untreated } = counted.statistics;
  return {
    put: waitingWith({ id: newId(), counted, replaces, withdraws: all }),
    remove: [],
    note: {
      action: 'pooling-confirmed',
      patient: null,
      after: {
        definition,
        statistics: counted.digest,
        patients: treated + untreated,
        withdrawals: all.length,
      },
    },
  };
}

/** Puts what takes all statistics of the clinic out of the pool into the outbox. */
export function statisticsTakenOut(book: PoolingBook, newId: () => string): Wanted {
  const link = book.link.get('link');
  if (link === undefined) return null;
  const withdraws = pendingFromStatistics(book);
  return {
    put: waitingWith({ id: newId(), counted: null, replaces: link.statistics, withdraws }),
    remove: [],
    note: { action: 'pooling-confirmed', patient: null, after: { statistics: null } },
  };
}

/** Puts statistics without those who withdrew into the outbox; null where others were confirmed meanwhile. */
export function withdrawnTakenOut(
  book: PoolingBook,
  { counted, withdraws, basedOn }: WithoutWithdrawn,
  newId: () => string,
): Wanted {
  const link = book.link.get('link');
  if (link === undefined || (confirmedLast(book)?.digest ?? null) !== basedOn) return null;
  return {
    put: waitingWith({ id: newId(), counted, replaces: link.statistics, withdraws: [...withdraws] }),
    remove: [],
    note: {
      action: 'pooling-confirmed',
      patient: null,
      after: { statistics: counted?.digest ?? null, withdrawals: withdraws.length },
    },
  };
}

/** What is asked of the service for statistics that wait, after it was asked which ones it holds. */
export function questionOf(book: PoolingBook, waiting: Waiting): ProcedureInput<'statistics'> {
  const held = book.link.get('link')?.statistics ?? null;
  return {
    // An earlier sending of this store may have arrived without an answer: then that is what these replace.
    replaces: held !== null && isHeldKnown(book) ? held : waiting.replaces,
    statistics: waiting.counted?.statistics ?? null,
    withdrawn: waiting.withdraws.length,
  };
}

/** What the service holds of the clinic now. Where another desktop took all of it out, nothing is counted any more. */
export function heldStatistics(book: PoolingBook, held: string | null): PoolingChangeParts {
  const link = book.link.get('link');
  if (link === undefined || link.statistics === held) return { parts: {}, remove: [] };
  const isGone = held === null && !book.statistics.has('waiting');
  return { parts: { statistics: held }, remove: isGone ? [{ kind: 'counted', key: link.member }] : [] };
}

/** What is to be changed of the link, and what is not true any more. */
export interface PoolingChangeParts {
  readonly parts: Partial<PoolingValue<'link'>>;
  readonly remove: readonly PoolingKey[];
}

/** Brings in the service's word that statistics are on its disk, or taken out: one change with all that follows from it. */
export function acknowledgedStatistics(
  book: PoolingBook,
  id: string,
  { digest, receipt }: ProcedureAnswer<'statistics'>,
  at: string,
): Wanted {
  const link = book.link.get('link');
  const waiting = book.statistics.get('waiting');
  if (link === undefined || waiting?.id !== id) return null;
  const { counted, withdraws } = waiting;
  const kept = receipt === null ? null : { ...receipt, versionsRemoved: null };
  const withdrawn = withdraws.flatMap((pseudonym) => {
    const asked = book.withdrawal.get(pseudonym);
    if (asked === undefined) return [];
    return [documentOf('withdrawal', pseudonym, { ...asked, pending: false, receipt: kept })];
  });
  const definition = counted?.statistics.definition ?? link.definition ?? 1;
  const patients = counted?.records.length ?? 0;
  const withdrawals = receipt?.patients ?? withdraws.length;
  return {
    put: [
      linkWith(link, { lastSent: at, statistics: digest }),
      ...(counted === null ? [] : [documentOf('counted', link.member, counted)]),
      ...withdrawn,
      documentOf('sent', id, {
        at,
        study: link.study,
        definition,
        records: 0,
        withdrawals,
        conflicts: 0,
        refusedAsWithdrawn: 0,
        statistics: { digest, patients, receipt: kept },
      }),
    ],
    remove: [
      WAITING,
      ...(counted === null ? [{ kind: 'counted' as const, key: link.member }] : []),
      ...offeredKeys(book),
    ],
    note: {
      action: 'pooling-acknowledged',
      patient: null,
      after: { statistics: digest, patients, withdrawals },
    },
  };
}

/**
 * Takes statistics out of the outbox that the service does not take. Withdrawals stay asked for and go with the next ones; a
 * person is shown what would leave anew.
 */
export function statisticsRefused(book: PoolingBook, id: string): Wanted {
  if (book.statistics.get('waiting')?.id !== id) return null;
  return {
    put: [],
    remove: [WAITING],
    note: { action: 'pooling-fault', patient: null, after: { refusedStatistics: id } },
  };
}

/** What the service was found to hold is what this store would send: it goes on from it. */
export function sameStatistics(book: PoolingBook, counted: Counted, at: string): Wanted {
  const link = book.link.get('link');
  if (link === undefined || link.statistics !== counted.digest) return null;
  const inThem = new Set(counted.records.map(({ pseudonym }) => pseudonym));
  // Whoever made them took these patients out, and has the receipt.
  const settled = pendingFromStatistics(book).flatMap((pseudonym) => {
    const asked = book.withdrawal.get(pseudonym);
    if (asked === undefined || inThem.has(pseudonym)) return [];
    return [documentOf('withdrawal', pseudonym, { ...asked, reason: 'by-another-desktop', pending: false })];
  });
  return {
    put: [documentOf('counted', link.member, counted), ...settled],
    remove: offeredKeys(book),
    note: { action: 'pooling-checked', patient: null, after: { sameStatistics: counted.digest, at } },
  };
}

/**
 * After the service's store was restored: what this clinic had there goes again, or is taken out again, since the backup
 * may hold older statistics. Every withdrawal is told again with it.
 *
 * @returns documents to write; none where the clinic never sent statistics
 */
export function statisticsAgain(book: PoolingBook, newId: () => string): PoolingDocument[] {
  const link = book.link.get('link');
  const sent = [...book.sent.values()].flatMap(({ study, statistics }) =>
    study === link?.study && statistics !== null ? [statistics.digest] : [],
  );
  if (link === undefined || (sent.length === 0 && countedOf(book) === null)) return [];
  const withdraws = [...book.withdrawal].flatMap(([pseudonym, { study, from }]) =>
    study === link.study && from === 'statistics' ? [pseudonym] : [],
  );
  const counted = confirmedLast(book);
  // What the backup holds is one of this store's earlier ones, if no other desktop sent any.
  const known = new Set(sent.flatMap((digest) => digest ?? []));
  if (counted !== null) known.delete(counted.digest);
  const earlier = [...known].flatMap((digest) =>
    book.offered.has(digest) ? [] : [documentOf('offered', digest, { pseudonyms: [] })],
  );
  return [...earlier, ...waitingWith({ id: newId(), counted, replaces: null, withdraws: withdraws.sort() })];
}

function offeredKeys(book: PoolingBook): PoolingKey[] {
  return [...book.offered.keys()].map((key) => ({ kind: 'offered', key }));
}
