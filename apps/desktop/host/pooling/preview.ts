import {
  changesWords,
  contributionWords,
  definitionChangesWords,
  NOT_CONTRIBUTED_WORDS,
  type PooledRecord,
} from '@longhold/core/contribution';
import type { PoolingBook } from '../store';
import type {
  LeftOutPatient,
  PatientInPool,
  PoolingConflict,
  PoolingPreview,
  PreviewedRecord,
  RecordStanding,
} from './answers';
import type { WaitingWithdrawals } from './consent-withdrawals';
import type { Outgoing } from './outgoing';
import { countedOf } from './who-is-in-pool';

/** What a person is shown before anything leaves. */
export function previewOf(
  outgoing: Outgoing,
  book: PoolingBook,
  waiting: WaitingWithdrawals | null,
): PoolingPreview {
  const { changes, contribution, codes, definition, version, digest, sheetIsNew } = outgoing;
  const inPool = (pseudonym: string, reason: PatientInPool['reason']): PatientInPool => ({
    code: codes.get(pseudonym) ?? null,
    pseudonym,
    reason,
  });
  const gone = changes.withdrawn.map(({ pseudonym, reason }) => inPool(pseudonym, reason));
  const wait = new Set(waiting?.patients.map(({ pseudonym }) => pseudonym));
  const withdrawals = gone.filter(
    ({ reason, pseudonym }) => reason !== 'not-in-store' && !wait.has(pseudonym),
  );
  const counts = {
    new: changes.fresh.length,
    changed: changes.changed.length,
    'in-pool': changes.unchanged.length,
    conflict: changes.conflicts.length,
  };
  return {
    digest,
    definition: version,
    counts,
    somethingToSend: counts.new + counts.changed + withdrawals.length > 0 || sheetIsNew,
    words: contributionWords(contribution, definition),
    changes: [...definitionWords(book, outgoing), ...changesWords(changes)],
    risk: contribution.risk,
    sheet: contribution.sheet,
    leftOut: leftOutPatients(outgoing, book),
    withdrawals,
    withdrawalsToConfirm:
      waiting === null
        ? null
        : {
            digest: waiting.digest,
            patients: waiting.patients.map(({ pseudonym, reason }) => inPool(pseudonym, reason)),
          },
    notInStore: gone.filter(({ reason }) => reason === 'not-in-store'),
    heldBack: changes.heldBack.map(({ pseudonym, reason }) => inPool(pseudonym, reason)),
    withdrawnForGood: withdrawnForGood(outgoing, book),
  };
}

/** What changed in the study definition since this clinic confirmed one; none before its first. */
export function definitionWords(
  book: PoolingBook,
  { version, definition }: Pick<Outgoing, 'version' | 'definition'>,
): string[] {
  const confirmed = confirmedVersion(book);
  const before = confirmed === null ? undefined : book.definition.get(String(confirmed));
  return before === undefined || confirmed === version ? [] : definitionChangesWords(before, definition);
}

/** The version that the clinic confirmed last, with its sheet or its statistics. */
function confirmedVersion(book: PoolingBook): number | null {
  const sheet = book.sheet.get('waiting') ?? book.sheet.get('sent');
  return sheet?.definition ?? countedOf(book)?.statistics.definition ?? null;
}

/** Who stays at home and why; those who were withdrawn earlier are listed apart. */
export function leftOutPatients(
  { contribution }: Pick<Outgoing, 'contribution'>,
  book: PoolingBook,
): LeftOutPatient[] {
  return contribution.leftOut
    .filter(({ pseudonym }) => !book.withdrawal.has(pseudonym))
    .map((one) => ({ ...one, words: NOT_CONTRIBUTED_WORDS[one.reason] }));
}

/** Patients of this store who were withdrawn earlier and never come back. */
export function withdrawnForGood({ codes }: Pick<Outgoing, 'codes'>, book: PoolingBook): PatientInPool[] {
  return [...codes].flatMap(([pseudonym, code]) =>
    book.withdrawal.has(pseudonym) ? [{ code, pseudonym, reason: 'withdrawn' as const }] : [],
  );
}

/** Patients of whom another desktop sent a version that this store does not have. */
export function conflictsOf({ changes, codes }: Pick<Outgoing, 'changes' | 'codes'>): PoolingConflict[] {
  return changes.conflicts.map(({ mine, content, theirs }) => ({
    code: codes.get(mine.pseudonym) ?? '',
    pseudonym: mine.pseudonym,
    mine,
    mineDigest: content,
    theirs: theirs.record,
    theirsVersion: theirs.version,
  }));
}

/** Every record that leaves or is in the pool, in the order of the clinic's codes. */
export function previewedRecords(
  { changes, contribution, codes }: Outgoing,
  book: PoolingBook,
): PreviewedRecord[] {
  const pseudonyms = (records: readonly { readonly record: PooledRecord }[]): Set<string> =>
    new Set(records.map(({ record }) => record.pseudonym));
  const fresh = pseudonyms(changes.fresh);
  const changed = pseudonyms(changes.changed);
  const contested = new Set(changes.conflicts.map(({ mine }) => mine.pseudonym));
  const standingOf = (pseudonym: string): RecordStanding => {
    if (fresh.has(pseudonym)) return 'new';
    if (changed.has(pseudonym)) return 'changed';
    return contested.has(pseudonym) ? 'conflict' : 'in-pool';
  };
  const coarsenings = new Map(contribution.coarsening.map((one) => [one.pseudonym, one]));
  return contribution.records
    .flatMap((record): PreviewedRecord[] => {
      const { pseudonym } = record;
      const coarsening = coarsenings.get(pseudonym);
      if (coarsening === undefined) return [];
      const code = codes.get(pseudonym) ?? '';
      const inPool = book.head.get(pseudonym)?.record ?? null;
      return [{ code, standing: standingOf(pseudonym), record, coarsening, inPool }];
    })
    .sort((a, b) => (a.code < b.code ? -1 : 1));
}
