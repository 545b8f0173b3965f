import { canonicalRecord } from './canonical-record';
import type { NotContributed, NotContributedReason } from './deidentify';
import type { PooledRecord } from './pooled-record';

/** What the service was last known to hold of one patient. */
export interface HeldVersion {
  readonly pseudonym: string;
  /** As the exchange names it: a digest of the record and of the version before it. */
  readonly version: string;
  /** Version of the study definition under which it was made. */
  readonly definition: number;
  readonly record: PooledRecord;
  /**
   * This store's record goes on from it: it was made here, or found to be the same as the one here, or a person chose to
   * go on from it. Else another desktop of the clinic made it.
   */
  readonly own: boolean;
  /** Digest of this store's own content against which a person kept it; null where nobody had to choose. */
  readonly keptAgainst: string | null;
}

/** Why a patient who was sent before is not among those who may be sent. */
export type WithdrawalReason = 'no-pooling-consent' | 'no-follow-up-consent' | 'not-in-store';

/** What a clinic has to send so that the pool holds its contribution, and nothing else of it. */
export interface RecordChanges {
  /** Patients whom the pool doesn't hold yet. */
  readonly fresh: readonly RecordItem[];
  /** Patients of whom it holds another version, or one made under a version of the study definition that asked otherwise. */
  readonly changed: readonly RecordItem[];
  /**
   * Patients of whom another desktop of the clinic sent a version that this store does not have. Nothing of them is sent
   * until a person has chosen.
   */
  readonly conflicts: readonly RecordConflict[];
  /**
   * Patients whose consent is gone, or who are not among the clinic's records. A withdrawal is for good: nothing of such
   * a pseudonym is ever taken again. A desktop with an older copy of the records, or with other patients than the
   * clinic's other desktop, lacks patients who are rightly in the pool, so `not-in-store` is for a person to decide.
   */
  readonly withdrawn: readonly { readonly pseudonym: string; readonly reason: WithdrawalReason }[];
  /**
   * Patients who still consent but can't be contributed now, such as after a correction of their records. The pool
   * keeps what it has of them until they can be again or are withdrawn.
   */
  readonly heldBack: readonly { readonly pseudonym: string; readonly reason: NotContributedReason }[];
  /** Patients whom the pool holds as they are, or as a person chose. */
  readonly unchanged: readonly string[];
}

/** A record's new version, as the exchange carries it. */
export interface RecordItem {
  readonly kind: 'record';
  readonly version: string;
  /** The version that it follows; null for the first. */
  readonly basedOn: string | null;
  readonly record: PooledRecord;
}

/** Two versions of one patient. */
export interface RecordConflict {
  readonly mine: PooledRecord;
  /** Digest of the canonical text of `mine`. */
  readonly content: string;
  readonly theirs: HeldVersion;
}

/** With what records are compared. */
export interface RecordComparison {
  /** Version of the study definition under which the contribution was made. */
  readonly definition: number;
  /** Whether records that were made under an earlier version leave the same under this one (`sameContribution`). */
  readonly isAlike: (definition: number) => boolean;
  /** SHA-256 of a text's bytes in hexadecimal. */
  readonly digestOf: (text: string) => string;
  /** The version that the exchange gives a record that follows another one. */
  readonly versionOf: (basedOn: string | null, record: PooledRecord) => string;
  /** This store's record of a patient as an earlier definition would make it; null where that can't be told. */
  readonly underDefinition: (definition: number, pseudonym: string) => PooledRecord | null;
}

/**
 * What differs between a clinic's contribution and what the service holds of it.
 *
 * @param contribution records as they may leave, and who is left out
 * @param held of each patient of the clinic who is not withdrawn
 */
export function recordChanges(
  contribution: { readonly records: readonly PooledRecord[]; readonly leftOut: readonly NotContributed[] },
  held: readonly HeldVersion[],
  comparison: RecordComparison,
): RecordChanges {
  const before = new Map(held.map((version) => [version.pseudonym, version]));
  const fresh: RecordItem[] = [];
  const changed: RecordItem[] = [];
  const conflicts: RecordConflict[] = [];
  const unchanged: string[] = [];
  for (const record of contribution.records) {
    const { pseudonym } = record;
    const theirs = before.get(pseudonym);
    const standing = theirs === undefined ? 'fresh' : standingOf(record, theirs, comparison);
    if (standing === 'unchanged') unchanged.push(pseudonym);
    else if (standing === 'conflict' && theirs !== undefined)
      conflicts.push({ mine: record, content: contentOf(record, comparison), theirs });
    else {
      const basedOn = theirs?.version ?? null;
      const version = comparison.versionOf(basedOn, record);
      (theirs === undefined ? fresh : changed).push({ kind: 'record', version, basedOn, record });
    }
  }
  return { fresh, changed, conflicts, unchanged, ...absent(contribution, held) };
}

/**
 * What becomes of a record that the pool holds in some version. One that another desktop made is followed by this
 * store's only where both hold the same.
 */
function standingOf(
  record: PooledRecord,
  theirs: HeldVersion,
  comparison: RecordComparison,
): 'unchanged' | 'changed' | 'conflict' {
  const content = contentOf(record, comparison);
  if (content === contentOf(theirs.record, comparison))
    return theirs.definition === comparison.definition || comparison.isAlike(theirs.definition)
      ? 'unchanged'
      : 'changed';
  if (theirs.own) return 'changed';
  if (theirs.keptAgainst === content) return 'unchanged';
  if (theirs.definition === comparison.definition) return 'conflict';
  const then = comparison.underDefinition(theirs.definition, theirs.pseudonym);
  const sameThen = then !== null && contentOf(then, comparison) === contentOf(theirs.record, comparison);
  return sameThen ? 'changed' : 'conflict';
}

function contentOf(record: PooledRecord, { digestOf }: RecordComparison): string {
  return digestOf(canonicalRecord(record));
}

/** Patients of the pool who are not in the contribution. */
function absent(
  contribution: { readonly records: readonly PooledRecord[]; readonly leftOut: readonly NotContributed[] },
  held: readonly HeldVersion[],
): Pick<RecordChanges, 'withdrawn' | 'heldBack'> {
  const now = new Set(contribution.records.map(({ pseudonym }) => pseudonym));
  const reasons = new Map(contribution.leftOut.map(({ pseudonym, reason }) => [pseudonym, reason]));
  const whyGone = (pseudonym: string): NotContributedReason | WithdrawalReason =>
    reasons.get(pseudonym) ?? 'not-in-store';
  const gone = held
    .filter(({ pseudonym }) => !now.has(pseudonym))
    .map(({ pseudonym }) => ({ pseudonym, reason: whyGone(pseudonym) }));
  return {
    withdrawn: gone.flatMap(({ pseudonym, reason }) => (isWithdrawal(reason) ? [{ pseudonym, reason }] : [])),
    heldBack: gone.flatMap(({ pseudonym, reason }) =>
      reason === 'not-in-store' || isWithdrawal(reason) ? [] : [{ pseudonym, reason }],
    ),
  };
}

function isWithdrawal(reason: NotContributedReason | WithdrawalReason): reason is WithdrawalReason {
  return reason === 'no-pooling-consent' || reason === 'no-follow-up-consent' || reason === 'not-in-store';
}
