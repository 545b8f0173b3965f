import type { PoolingBook, PoolingValue } from '../store';

/** Pseudonyms of patients of whom the service holds something, or may hold it because an answer was lost. */
export interface InPool {
  /** By records of their own. */
  readonly records: ReadonlySet<string>;
  /** By statistics that count them. */
  readonly statistics: ReadonlySet<string>;
}

/** Who is in the pool by what this store knows, or waits to be sent. */
export function whoIsInPool(book: PoolingBook): InPool {
  return { records: inRecords(book), statistics: inStatistics(book) };
}

function inRecords(book: PoolingBook): Set<string> {
  const pseudonyms = new Set([...book.head.keys(), ...book.before.keys()]);
  for (const { items } of book.outbox.values()) {
    for (const item of items) if (item.kind === 'record') pseudonyms.add(item.record.pseudonym);
  }
  return pseudonyms;
}

function inStatistics(book: PoolingBook): Set<string> {
  const counted = [countedOf(book), book.statistics.get('waiting')?.counted ?? null];
  const pseudonyms = new Set(counted.flatMap((one) => one?.records.map(({ pseudonym }) => pseudonym) ?? []));
  for (const { pseudonyms: offered } of book.offered.values()) for (const one of offered) pseudonyms.add(one);
  return pseudonyms;
}

/** The statistics that the service last acknowledged of the clinic as it is linked now; null for none. */
export function countedOf(book: PoolingBook): PoolingValue<'counted'> | null {
  const member = book.link.get('link')?.member;
  return member === undefined ? null : (book.counted.get(member) ?? null);
}

/** Patients who are to be taken out of statistics and of whom the service has not acknowledged it. */
export function pendingFromStatistics(book: PoolingBook): string[] {
  const here = book.link.get('link')?.study;
  return [...book.withdrawal].flatMap(([pseudonym, { pending, from, study }]) =>
    pending && from === 'statistics' && study === here ? [pseudonym] : [],
  );
}

/** Whether the statistics that the service held when it was last asked are this store's own; true where it holds none. */
export function isHeldKnown(book: PoolingBook): boolean {
  const held = book.link.get('link')?.statistics ?? null;
  return held === null || countedOf(book)?.digest === held || book.offered.has(held);
}
