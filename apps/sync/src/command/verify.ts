import { pooledRecordSchema } from '@longhold/core/contribution';
import { versionText } from '@longhold/core/exchange';
import type { StudyReader, SyncStore } from '../store/sync-store';
import { digestOf, tombstoneDigest } from '../study/secrets';

const PAGE = 1_000;

/** What a check of a store found. */
export interface StoreCheck {
  readonly records: number;
  readonly withdrawn: number;
  /** In words; empty when nothing is wrong. Pseudonyms never stand in them. */
  readonly faults: readonly string[];
}

/**
 * Reads everything: every record fits its schema and its version's digest, none belongs to a withdrawn patient, no pooled
 * answer holds one, every patient has a newest record, and no number is later than the study's. The database looks for
 * rows that refer to missing ones and for damage that it can see.
 */
export async function verifyStore(store: SyncStore): Promise<StoreCheck> {
  const faults = await store.faults();
  return store.read(async (reader) => {
    const heads = await checkHeads(reader);
    const gone = await checkTombstones(reader);
    const stale = await reader.viewsOfWithdrawn();
    const removed = await checkRemoved(reader);
    const headless = await reader.patientsWithoutHead();
    return {
      records: heads.count,
      withdrawn: gone.count,
      faults: [
        ...faults,
        ...heads.faults,
        ...gone.faults,
        ...removed,
        ...(headless === 0 ? [] : [`${headless} patients have no newest record`]),
        ...(stale === 0 ? [] : [`${stale} pooled answers hold patients who were withdrawn`]),
      ],
    };
  });
}

interface PartCheck {
  readonly count: number;
  readonly faults: string[];
}

async function checkHeads(reader: StudyReader): Promise<PartCheck> {
  const { sequence: latest } = await reader.study();
  const faults: string[] = [];
  let count = 0;
  let after = 0;
  for (;;) {
    const heads = await reader.headsAfter(null, after, PAGE);
    for (const { member, pseudonym, version, basedOn, sequence, body } of heads) {
      const record = pooledRecordSchema.safeParse(readJson(body));
      const whole = record.success && digestOf(versionText(basedOn, record.data)) === version;
      if (!whole) faults.push(`record ${sequence} is not what was sent`);
      const [tombstone] = await reader.tombstonesOf(member, [tombstoneDigest(member, pseudonym)]);
      if (tombstone !== undefined) faults.push(`record ${sequence} was withdrawn by ${tombstone.sequence}`);
      if (sequence > latest)
        faults.push(`record ${sequence} is later than the study, which ends at ${latest}`);
      after = sequence;
      count++;
    }
    if (heads.length < PAGE) return { count, faults };
  }
}

async function checkTombstones(reader: StudyReader): Promise<PartCheck> {
  const { sequence: latest } = await reader.study();
  const faults: string[] = [];
  let count = 0;
  let after = 0;
  for (;;) {
    const found = await reader.tombstonesAfter(null, after, PAGE);
    for (const { sequence } of found) {
      if (sequence > latest)
        faults.push(`withdrawal ${sequence} is later than the study, which ends at ${latest}`);
      after = sequence;
      count++;
    }
    if (found.length < PAGE) return { count, faults };
  }
}

/** Nothing of a member who was taken out may be left. */
async function checkRemoved(reader: StudyReader): Promise<string[]> {
  const faults: string[] = [];
  for (const { member } of await reader.removedMembers()) {
    const records = await reader.patientsOf(member);
    const sheet = await reader.sheetOf(member);
    const sums = await reader.federatedOf(member);
    const live = (await reader.devices(member)).some(({ revoked }) => !revoked);
    if (records.length > 0 || sheet !== null || sums?.body != null)
      faults.push(`something of member ${member}, who was taken out, is still there`);
    if (live) faults.push(`a device of member ${member}, who was taken out, is not revoked`);
  }
  return faults;
}

function readJson(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}
