import type { RecordVersion } from '@longhold/core/exchange';
import type { TombstoneRow, VersionFacts } from '../store/sync-store';

/** What the store holds of one patient. */
export interface PatientState {
  readonly tombstone: Pick<TombstoneRow, 'sequence' | 'receipt' | 'versionsRemoved' | 'month'> | null;
  readonly versions: readonly VersionFacts[];
}

/** What is to be done with one version of a record. */
export type RecordDecision =
  /** `replaces` is the version whose place it takes; null for the first. */
  | { readonly kind: 'store'; readonly replaces: string | null }
  | { readonly kind: 'there-already'; readonly sequence: number; readonly batch: string }
  | { readonly kind: 'conflict' }
  | { readonly kind: 'gone' };

type SentRecord = Extract<RecordVersion, { kind: 'record' }>;

/**
 * The rule by which a version is taken. It is taken when it was made from the newest one here, or when nothing of the
 * patient is here. A version that is here, or from which one here was made, is there already, so repeating and
 * reordering change nothing. A withdrawn patient is gone for good.
 */
export function decideRecord(
  state: PatientState,
  { version, basedOn }: Pick<SentRecord, 'version' | 'basedOn'>,
): RecordDecision {
  if (state.tombstone !== null) return { kind: 'gone' };
  const same = state.versions.find((known) => known.version === version);
  const known = same ?? state.versions.find((later) => later.basedOn === version);
  if (known !== undefined) return { kind: 'there-already', sequence: known.sequence, batch: known.batch };
  const head = state.versions.find((candidate) => candidate.head);
  if (head === undefined) return { kind: 'store', replaces: null };
  return head.version === basedOn ? { kind: 'store', replaces: head.version } : { kind: 'conflict' };
}
