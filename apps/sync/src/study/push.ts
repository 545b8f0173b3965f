import { randomUUID } from 'node:crypto';
import { pooledRecordSchema } from '@longhold/core/contribution';
import {
  canonicalJson,
  versionTextOf,
  type ItemAnswer,
  type PushAnswer,
  type PushInput,
} from '@longhold/core/exchange';
import type { StudyReader, StudyWriter } from '../store/sync-store';
import { countByMonth, monthOf } from './audit';
import { requireLive, type Caller } from './caller';
import { requireDefinition } from './definition';
import { nextSequence } from './next-sequence';
import { PendingBatch, type ItemOutcome, type RecordTexts } from './pending-batch';
import { Refusal } from './refusal';
import { digestOf } from './secrets';

/**
 * Stores a batch. It is answered once all of it is on the disk. Sent again with the same content it changes nothing;
 * what the answer then says of each item holds at that moment.
 */
export async function push({ store, device, now }: Caller, input: PushInput): Promise<PushAnswer> {
  const texts = requireDigests(input);
  const { member } = device;
  const digest = contentDigest(input);
  const { answer, withdrew } = await store.write(async (writer) => {
    await writer.holdMember(member);
    await requireLive(writer, device);
    const before = await writer.batch(member, input.batch);
    if (before !== null && before.digest !== digest) {
      throw new Refusal(
        'batch-reused',
        'This batch key was used for other content. Draw a new key for each batch.',
      );
    }
    if (before === null) await requireRightContribution(writer, member, input);
    const batch = await PendingBatch.read(writer, member, input, texts);
    const outcomes = before === null ? batch.decideAll() : batch.outcomesAsItStands();
    const sequence = before?.sequence ?? (await storeBatch(writer, batch, { digest, month: monthOf(now()) }));
    if (before === null) {
      await countByMonth(writer, { at: now(), device, action: 'stored-records', count: batch.stored });
      await countByMonth(writer, { at: now(), device, action: 'withdrew-patients', count: batch.withdrawn });
    }
    const items = await answerItems(writer, member, { input, batch, outcomes });
    const { epoch } = await writer.study();
    return {
      answer: { batch: input.batch, epoch, items, sequence },
      withdrew: before === null && batch.withdrawn > 0,
    };
  });
  // What was withdrawn is deleted already; this also takes it out of the database's own log.
  if (withdrew) await store.forgetDeleted().catch(() => undefined);
  return answer;
}

/** The records as they will be stored. @throws Refusal wrong-digest when a version is not the digest of what it names. */
function requireDigests({ items }: PushInput): RecordTexts {
  const texts = new Map<PushInput['items'][number], string>();
  items.forEach((item, index) => {
    if (item.kind === 'withdrawal') return;
    const text = canonicalJson(item.record);
    texts.set(item, text);
    if (digestOf(versionTextOf(item.basedOn, text)) === item.version) return;
    throw new Refusal(
      'wrong-digest',
      `The version of item ${index + 1} is not the digest of its record and of the version it is based on.`,
    );
  });
  return texts;
}

/** What two batches must have in common to count as the same: versions are digests of all they hold. */
function contentDigest({ definition, items }: PushInput): string {
  const parts = items.map((item) => (item.kind === 'record' ? item.version : { withdrawal: item.pseudonym }));
  return digestOf(canonicalJson({ definition, parts }));
}

/** A withdrawal is taken at any time; a record only under the definition in force, and beside no statistics. */
async function requireRightContribution(
  reader: StudyReader,
  member: string,
  input: PushInput,
): Promise<void> {
  if (!input.items.some(({ kind }) => kind === 'record')) return;
  requireDefinition(await reader.definition(), input.definition);
  if ((await reader.federatedOf(member))?.body == null) return;
  throw new Refusal(
    'mixed-contribution',
    'This centre sends statistics in place of records. Take its statistics out of the pool first.',
  );
}

/** Writes what was decided and returns the last sequence number of it. */
async function storeBatch(
  writer: StudyWriter,
  batch: PendingBatch,
  { digest, month }: { readonly digest: string; readonly month: string },
): Promise<number> {
  const changes = batch.stored + batch.withdrawn;
  const first = await nextSequence(writer, changes);
  const plan = batch.plan(first, month, randomUUID);
  await writer.clearBodies(batch.member, plan.replaced);
  for (const pseudonym of plan.withdrawn) await writer.deleteVersions(batch.member, pseudonym);
  await writer.insertVersions(plan.versions);
  for (const tombstone of plan.tombstones) {
    await writer.insertTombstone(tombstone);
    const { firstSequence } = tombstone;
    if (firstSequence !== null) await writer.dropViewsHolding(batch.member, firstSequence);
  }
  if (changes > 0) await writer.dropStatistics(batch.member);
  const sequence = first + changes - 1;
  await writer.insertBatch({ member: batch.member, batch: batch.key, digest, sequence });
  return sequence;
}

async function answerItems(
  reader: StudyReader,
  member: string,
  {
    input,
    batch,
    outcomes,
  }: {
    readonly input: PushInput;
    readonly batch: PendingBatch;
    readonly outcomes: readonly ItemOutcome[];
  },
): Promise<ItemAnswer[]> {
  const contested = outcomes.filter(({ kind }) => kind === 'conflict').map(({ pseudonym }) => pseudonym);
  const heads = await reader.headsOf(member, [...new Set(contested)]);
  return outcomes.map((outcome): ItemAnswer => {
    const { pseudonym } = outcome;
    switch (outcome.kind) {
      case 'gone':
        return { kind: 'gone', pseudonym };
      case 'withdrawn':
        return { kind: 'withdrawn', pseudonym, receipt: batch.receiptOf(pseudonym) };
      case 'conflict': {
        const head = heads.find((candidate) => candidate.pseudonym === pseudonym);
        if (head === undefined) return { kind: 'conflict', pseudonym, head: null };
        const { version, sequence, body } = head;
        const record = pooledRecordSchema.parse(JSON.parse(body));
        return { kind: 'conflict', pseudonym, head: { version, sequence, record } };
      }
      case 'version': {
        const kind = outcome.batch === input.batch ? 'stored' : 'already-stored';
        return { kind, pseudonym, sequence: batch.sequenceOf(outcome) };
      }
    }
  });
}
