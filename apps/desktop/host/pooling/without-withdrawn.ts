import { clinicContribution, type ContributionFlow } from '@longhold/core/contribution';
import type { Counted, PoolingBook } from '../store';
import { definitionInForce } from './latest-contribution';
import { countedFrom, type StatisticsGiven } from './made-statistics';
import { pseudonymOf } from './pseudonyms';
import { countedOf, pendingFromStatistics } from './who-is-in-pool';

/** Statistics without patients who withdrew, in place of those that hold them. */
export interface WithoutWithdrawn {
  /** Null takes the clinic's statistics out whole. */
  readonly counted: Counted | null;
  readonly withdraws: readonly string[];
  /** What they were made from: digest of the statistics before, null for none. */
  readonly basedOn: string | null;
}

/** The statistics that a person confirmed last: those that wait, or those that the service acknowledged. */
export function confirmedLast(book: PoolingBook): Counted | null {
  const waiting = book.statistics.get('waiting');
  return waiting === undefined ? countedOf(book) : waiting.counted;
}

/** Patients to be taken out of statistics who are in no sending that waits. */
export function notTakenOut(book: PoolingBook): string[] {
  const queued = new Set(book.statistics.get('waiting')?.withdraws ?? []);
  return pendingFromStatistics(book).filter((pseudonym) => !queued.has(pseudonym));
}

/**
 * The statistics that a person confirmed last, made anew from the same records without those of patients who withdrew,
 * so that nothing else leaves than what was confirmed. Method errors are read anew without these patients' readings.
 * They are taken out whole where the study definition has changed since, because the service takes none of an old one, and
 * where fewer treated patients than the smallest cell are left.
 */
export function withoutWithdrawn(given: StatisticsGiven): WithoutWithdrawn {
  const { book } = given;
  const before = confirmedLast(book);
  const waiting = book.statistics.get('waiting')?.withdraws ?? [];
  const withdraws = [...new Set([...waiting, ...notTakenOut(book)])].sort();
  const basedOn = before?.digest ?? null;
  return { counted: before === null ? null : remade(before, new Set(withdraws), given), withdraws, basedOn };
}

function remade(
  { statistics, records: before }: Counted,
  withdrawn: ReadonlySet<string>,
  { study, today, secret, book, software }: StatisticsGiven,
): Counted | null {
  const inForce = definitionInForce(book);
  if (inForce?.version !== statistics.definition) return null;
  const { version, definition } = inForce;
  const records = before.filter(({ pseudonym }) => !withdrawn.has(pseudonym));
  const treated = records.filter(({ group }) => group === 'treated').length;
  if (treated < definition.smallestCell) return null;
  const counted = new Set(records.map(({ pseudonym }) => pseudonym));
  const histories = study.filter(({ patient }) => counted.has(pseudonymOf(secret, patient.code)));
  // Everyone here was sent: nobody's readings stay out because a group has become too small.
  const { methodErrors } = clinicContribution(
    histories,
    { ...definition, coarsening: { ...definition.coarsening, smallGroups: 'keep' } },
    (code) => pseudonymOf(secret, code),
    { asOf: today, filmFactor: null },
  ).sheet;
  const left = before.filter(({ group }) => group === 'treated').length - treated;
  const flow = flowWithout(statistics.flow, treated, left, definition.smallestCell);
  return countedFrom(records, {
    sheet: { methodErrors, flow },
    definition,
    definitionVersion: version,
    software,
  });
}

/** Who is in the contribution, after some treated patients' consent has gone; small numbers stay withheld. */
function flowWithout(
  flow: ContributionFlow,
  contributed: number,
  left: number,
  smallestCell: number,
): ContributionFlow {
  const sum = flow.withoutConsent === null ? null : flow.withoutConsent + left;
  const withoutConsent = sum !== null && sum > 0 && sum < smallestCell ? null : sum;
  const treated = withoutConsent === null ? null : flow.treated;
  return { ...flow, contributed, withoutConsent, treated };
}
