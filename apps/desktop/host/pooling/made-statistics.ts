import {
  canonicalRecord,
  type ClinicContribution,
  type PooledRecord,
  type StudyDefinition,
} from '@longhold/core/contribution';
import { BODY_LIMIT, canonicalJson } from '@longhold/core/exchange';
import { centreStatistics, type CentreStatistics } from '@longhold/core/pooled';
import type { Counted, PoolingBook } from '../store';
import { definitionInForce, LatestContribution, type ContributionGiven } from './latest-contribution';
import { consentsGone } from './outgoing';
import { digestOf, pseudonymOf } from './pseudonyms';
import { countedOf, isHeldKnown, pendingFromStatistics } from './who-is-in-pool';

/** From what statistics are made. */
export interface StatisticsGiven extends ContributionGiven {
  /** Version of the program. */
  readonly software: string;
}

/** The statistics that this clinic would send now. */
export interface MadeStatistics {
  /** Names exactly what would leave: the statistics, which ones they replace, and how many patients withdrew. */
  readonly digest: string;
  readonly version: number;
  readonly definition: StudyDefinition;
  readonly contribution: ClinicContribution;
  readonly counted: Counted;
  /** Digest of the statistics that the service holds of the clinic; null for none. */
  readonly replaces: string | null;
  /** Whether those are another desktop's, and not the same as these. */
  readonly isOthers: boolean;
  /** Patients who were counted and are taken out because they withdrew. */
  readonly withdraws: readonly string[];
  readonly changes: CountedChanges;
  readonly somethingToSend: boolean;
  readonly obstacle: StatisticsObstacle | null;
  /** The clinic's own code of every patient of the store, by pseudonym. */
  readonly codes: ReadonlyMap<string, string>;
}

/** Patients of the statistics against those of the last ones. */
export interface CountedChanges {
  readonly fresh: number;
  readonly changed: number;
  readonly unchanged: number;
  /** Who was counted, is not any more, and did not withdraw. */
  readonly gone: readonly string[];
}

/** Why statistics can't be sent as they are. */
export type StatisticsObstacle =
  /** The service holds records of the clinic. */
  | { readonly kind: 'records-in-pool'; readonly records: number }
  /** Sums of fewer treated patients than the smallest cell would say too much of each. */
  | { readonly kind: 'too-few'; readonly patients: number; readonly smallestCell: number }
  /** More than the service takes in one question. */
  | { readonly kind: 'too-large'; readonly bytes: number; readonly limit: number };

/** What may stand beside the statistics in one question. */
const BESIDE_BYTES = 1_000;

/**
 * The statistics of what this clinic may send, by the function by which the service makes them from records; null before
 * a study definition is known.
 */
export function madeStatistics(
  given: StatisticsGiven,
  latest: LatestStatistics = new LatestStatistics(),
): MadeStatistics | null {
  const { study, secret, book } = given;
  const inForce = definitionInForce(book);
  if (inForce === null) return null;
  const { contribution, counted } = latest.of(given, inForce);
  const { smallestCell } = inForce.definition;
  const replaces = book.link.get('link')?.statistics ?? null;
  const gone = consentsGone(study, secret, book).flatMap(({ pseudonym, from }) =>
    from === 'statistics' ? [pseudonym] : [],
  );
  const withdraws = [...new Set([...pendingFromStatistics(book), ...gone])].sort();
  const former = countedOf(book);
  const isSame = former !== null && replaces === former.digest && sameNumbers(former, counted);
  return {
    digest: digestOf(
      canonicalJson({ statistics: counted.statistics, replaces, withdrawn: withdraws.length }),
    ),
    ...inForce,
    contribution,
    counted,
    replaces,
    isOthers: !isHeldKnown(book) && replaces !== counted.digest,
    withdraws,
    changes: countedChanges(former?.records ?? [], counted.records, new Set(withdraws)),
    somethingToSend: !isSame && replaces !== counted.digest,
    obstacle: obstacleOf(counted, book, smallestCell),
    codes: new Map(study.map(({ patient }) => [pseudonymOf(secret, patient.code), patient.code])),
  };
}

/** Statistics of records with what is kept of them at home. */
export function countedFrom(
  records: readonly PooledRecord[],
  context: Parameters<typeof centreStatistics>[1],
): Counted {
  const statistics = centreStatistics(records, context);
  return { digest: digestOf(canonicalJson(statistics)), statistics, records: [...records] };
}

/** The statistics that were made last; they are made anew only where something that decides them is another. */
export class LatestStatistics {
  readonly #contributions: LatestContribution;
  #made: {
    readonly key: string;
    readonly contribution: ClinicContribution;
    readonly counted: Counted;
  } | null = null;

  constructor(contributions = new LatestContribution()) {
    this.#contributions = contributions;
  }

  of(
    given: StatisticsGiven,
    { version, definition }: { readonly version: number; readonly definition: StudyDefinition },
  ): { readonly contribution: ClinicContribution; readonly counted: Counted } {
    const { software } = given;
    const contribution = this.#contributions.of(given, definition);
    const key = canonicalJson({ version, definition, software });
    if (this.#made?.key === key && this.#made.contribution === contribution) return this.#made;
    const { records, sheet } = contribution;
    const counted = countedFrom(records, { sheet, definition, definitionVersion: version, software });
    this.#made = { key, contribution, counted };
    return this.#made;
  }
}

/** Whether two statistics say the same; another version of the program that made them is no difference. */
function sameNumbers(one: Counted, other: Counted): boolean {
  const numbers = ({ software: _software, ...rest }: CentreStatistics): string => canonicalJson(rest);
  return numbers(one.statistics) === numbers(other.statistics);
}

function countedChanges(
  before: readonly PooledRecord[],
  now: readonly PooledRecord[],
  withdrawn: ReadonlySet<string>,
): CountedChanges {
  const former = new Map(before.map((record) => [record.pseudonym, canonicalRecord(record)]));
  let fresh = 0;
  let unchanged = 0;
  for (const record of now) {
    const text = former.get(record.pseudonym);
    if (text === undefined) fresh++;
    else if (text === canonicalRecord(record)) unchanged++;
    former.delete(record.pseudonym);
  }
  const gone = [...former.keys()].filter((pseudonym) => !withdrawn.has(pseudonym));
  return { fresh, changed: now.length - fresh - unchanged, unchanged, gone };
}

function obstacleOf(
  { statistics }: Counted,
  book: PoolingBook,
  smallestCell: number,
): StatisticsObstacle | null {
  const records = book.head.size;
  if (records > 0) return { kind: 'records-in-pool', records };
  if (statistics.treated < smallestCell)
    return { kind: 'too-few', patients: statistics.treated, smallestCell };
  const bytes = Buffer.byteLength(JSON.stringify(statistics)) + BESIDE_BYTES;
  return bytes > BODY_LIMIT ? { kind: 'too-large', bytes, limit: BODY_LIMIT } : null;
}
