import type { ProcedureAnswer } from '@longhold/core/exchange';
import type { PoolingBook } from '../store';
import { isHeldKnown } from './who-is-in-pool';
import { notTakenOut } from './without-withdrawn';

/** What has been heard of the service in one run. */
export interface Heard {
  /** Null until asked, and again when something showed that it may be outdated. */
  readonly session: ProcedureAnswer<'session'> | null;
  /** Whether all of the clinic's own changes were read in this run. */
  readonly pulled: boolean;
  /** Whether what was read was compared with this store's records. */
  readonly compared: boolean;
}

/** One thing to do next in an exchange with the service. */
export type Step =
  | { readonly kind: 'ask-session' | 'read-definition' | 'pull' | 'compare' | 'send-sheet' | 'done' }
  /** The service's store is another than before: read it all, repeat withdrawals and records. */
  | { readonly kind: 'note-epoch'; readonly epoch: string }
  | { readonly kind: 'queue-withdrawals' | 'queue-repeats' }
  | { readonly kind: 'take-out-withdrawn' | 'compare-statistics' | 'send-statistics' }
  /** Patients are to be taken out of statistics that another desktop sent: a person has to decide. */
  | { readonly kind: 'statistics-differ' }
  /** `key` names the batch of the outbox. */
  | { readonly kind: 'push'; readonly key: string };

/** Keys of batches, in the order of sending: withdrawals come before records, whenever they were asked for. */
export const WITHDRAWALS_FIRST = 'a';
export const RECORDS_AFTER = 'b';

/**
 * What to do next, from what the store holds and what was heard of the service. It decides and does nothing itself, so
 * a run that was cut off anywhere goes on by asking again. Withdrawals go before all else that leaves; records go after
 * everything of the clinic at the service was read; the sheet goes last, because with it the clinic says that all of
 * its records are there.
 *
 * @param recordsWait whether no record may leave yet, because a person has to settle something first
 */
export function nextStep(book: PoolingBook, { session, pulled, compared }: Heard, recordsWait = false): Step {
  const link = book.link.get('link');
  if (link === undefined) return { kind: 'done' };
  if (session === null) return { kind: 'ask-session' };
  if (link.epoch !== session.epoch) return { kind: 'note-epoch', epoch: session.epoch };
  const batches = [...book.outbox.keys()].sort();
  if (unqueuedWithdrawals(book).length > 0) return { kind: 'queue-withdrawals' };
  const withdrawals = batches.find((key) => key.startsWith(WITHDRAWALS_FIRST));
  if (withdrawals !== undefined) return { kind: 'push', key: withdrawals };
  const { definition } = session;
  const urgent = urgentStatistics(book);
  // Of an outdated definition the service takes none, so it is read first; only a question leaves by that.
  if (urgent !== null && (definition === null || definition === link.definition)) return { kind: urgent };
  if (definition !== null && (link.definition !== definition || !book.definition.has(String(definition))))
    return { kind: 'read-definition' };
  if (session.role !== 'centre') return { kind: 'done' };
  if (!pulled) return { kind: 'pull' };
  if (link.sends === 'statistics') return statisticsStep(book, compared);
  if (!compared && [...book.head.values()].some(({ own }) => !own)) return { kind: 'compare' };
  if (recordsWait) return { kind: 'done' };
  if (book.before.size > 0) return { kind: 'queue-repeats' };
  const [first] = batches;
  if (first !== undefined) return { kind: 'push', key: first };
  return { kind: book.sheet.has('waiting') ? 'send-sheet' : 'done' };
}

/** Patients are taken out of statistics, and whole statistics out of the pool, before anything else leaves. */
function urgentStatistics(book: PoolingBook): 'take-out-withdrawn' | 'send-statistics' | null {
  const waiting = book.statistics.get('waiting');
  if (isHeldKnown(book) && notTakenOut(book).length > 0) return 'take-out-withdrawn';
  if (waiting === undefined) return null;
  return waiting.counted === null || waiting.withdraws.length > 0 ? 'send-statistics' : null;
}

/** Of a clinic that sends statistics: no batch of records ever leaves it, whatever lies in the outbox. */
function statisticsStep(book: PoolingBook, compared: boolean): Step {
  const isAnswered = book.statistics.has('waiting');
  if (!isAnswered && !compared && !isHeldKnown(book)) return { kind: 'compare-statistics' };
  if (isAnswered) return { kind: 'send-statistics' };
  return { kind: notTakenOut(book).length > 0 ? 'statistics-differ' : 'done' };
}

/** Pseudonyms whose records are to be withdrawn and are in no batch yet. */
export function unqueuedWithdrawals(book: PoolingBook): string[] {
  const queued = new Set<string>();
  for (const { items } of book.outbox.values()) {
    for (const item of items) if (item.kind === 'withdrawal') queued.add(item.pseudonym);
  }
  const here = book.link.get('link')?.study;
  const asked = [...book.withdrawal].flatMap(([pseudonym, { pending, study, from }]) =>
    pending && study === here && from === 'records' ? [pseudonym] : [],
  );
  const member = book.link.get('link')?.member;
  const changedOver = [...book.changeover].flatMap(([pseudonym, one]) =>
    one.pending && one.member === member ? [pseudonym] : [],
  );
  return [...new Set([...asked, ...changedOver])].filter((pseudonym) => !queued.has(pseudonym));
}
