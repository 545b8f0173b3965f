import { canonicalRecord } from './canonical-record';
import type { NotContributed, NotContributedReason } from './deidentify';
import type { PooledRecord } from './pooled-record';

/** What the service was last known to hold of one patient. */
export interface SentVersion {
  readonly pseudonym: string;
  /** Digest of the record's canonical text. */
  readonly version: string;
}

/** Why a patient who was sent before is to be withdrawn. */
export type WithdrawalReason = 'no-pooling-consent' | 'no-follow-up-consent' | 'not-in-store';

/** What a clinic has to send so that the pool holds its contribution, and nothing else of it. */
export interface RecordChanges {
  /** Patients whom the pool doesn't hold yet. */
  readonly fresh: readonly RecordItem[];
  /** Patients of whom it holds another version. */
  readonly changed: readonly RecordItem[];
  /**
   * Patients whose consent is gone, or who are no longer among the clinic's records. A withdrawal is for good: nothing
   * of such a pseudonym is ever taken again. A clinic that has opened an older copy of its store would withdraw all
   * who came since, so `not-in-store` is to be shown to a person first.
   */
  readonly withdrawn: readonly { readonly pseudonym: string; readonly reason: WithdrawalReason }[];
  /**
   * Patients who still consent but can't be contributed now, such as after a correction of their records. The pool
   * keeps what it has of them until they can be again or are withdrawn.
   */
  readonly heldBack: readonly { readonly pseudonym: string; readonly reason: NotContributedReason }[];
  /** How many the pool holds as they are. */
  readonly unchanged: number;
}

/** A record's new version, as the exchange carries it. */
export interface RecordItem {
  readonly kind: 'record';
  /** Digest of the record's canonical text. */
  readonly version: string;
  /** The version that it follows; null for the first. */
  readonly basedOn: string | null;
  readonly record: PooledRecord;
}

/**
 * What differs between a clinic's contribution and what it sent before.
 *
 * @param contribution records as they may leave, and who is left out
 * @param sent the last version of each patient that the service has acknowledged and that is not withdrawn
 * @param digestOf SHA-256 of a text's bytes in hexadecimal
 */
export function recordChanges(
  contribution: { readonly records: readonly PooledRecord[]; readonly leftOut: readonly NotContributed[] },
  sent: readonly SentVersion[],
  digestOf: (text: string) => string,
): RecordChanges {
  const before = new Map(sent.map(({ pseudonym, version }) => [pseudonym, version]));
  const items = contribution.records.map((record): RecordItem => {
    const version = digestOf(canonicalRecord(record));
    return { kind: 'record', version, basedOn: before.get(record.pseudonym) ?? null, record };
  });
  const now = new Set(items.map(({ record }) => record.pseudonym));
  const reasons = new Map(contribution.leftOut.map(({ pseudonym, reason }) => [pseudonym, reason]));
  const whyGone = (pseudonym: string): NotContributedReason | WithdrawalReason =>
    reasons.get(pseudonym) ?? 'not-in-store';
  const gone = sent
    .filter(({ pseudonym }) => !now.has(pseudonym))
    .map(({ pseudonym }) => ({ pseudonym, reason: whyGone(pseudonym) }));
  return {
    fresh: items.filter(({ basedOn }) => basedOn === null),
    changed: items.filter(({ basedOn, version }) => basedOn !== null && basedOn !== version),
    withdrawn: gone.flatMap(({ pseudonym, reason }) => (isWithdrawal(reason) ? [{ pseudonym, reason }] : [])),
    heldBack: gone.flatMap(({ pseudonym, reason }) =>
      reason === 'not-in-store' || isWithdrawal(reason) ? [] : [{ pseudonym, reason }],
    ),
    unchanged: items.filter(({ basedOn, version }) => basedOn === version).length,
  };
}

function isWithdrawal(reason: NotContributedReason | WithdrawalReason): reason is WithdrawalReason {
  return reason === 'no-pooling-consent' || reason === 'no-follow-up-consent' || reason === 'not-in-store';
}
