import { randomUUID } from 'node:crypto';
import { pooledRecordSchema } from '@longhold/core/contribution';
import type { ItemAnswer, PushAnswer } from '@longhold/core/exchange';
import type { UnpackedBatch } from '../batch/unpack-batch';
import type { StudyReader, StudyWriter } from '../store/sync-store';
import { countByMonth, monthOf } from './audit';
import { requireLive, type Caller } from './caller';
import { requireDefinition } from './definition';
import { nextSequence } from './next-sequence';
import { PendingBatch, type ItemOutcome } from './pending-batch';
import { Refusal } from './refusal';

/**
 * Stores a batch. It is answered once all of it is on the disk. Sent again with the same content it changes nothing;
 * what the answer then says of each item holds at that moment.
 */
export async function push({ store, device, now }: Caller, sent: UnpackedBatch): Promise<PushAnswer> {
  const { member } = device;
  const { answer, withdrew } = await store.write(async (writer) => {
    await writer.holdMember(member);
    await requireLive(writer, device);
    const before = await writer.batch(member, sent.batch);
    if (before !== null && before.digest !== sent.digest) {
      throw new Refusal(
        'batch-reused',
        'This batch key was used for other content. Draw a new key for each batch.',
      );
    }
    if (before === null) await requireRightContribution(writer, member, sent);
    const batch = await PendingBatch.read(writer, member, sent);
    const outcomes = before === null ? batch.decideAll() : batch.outcomesAsItStands();
    const sequence = before?.sequence ?? (await storeBatch(writer, batch, monthOf(now())));
    if (before === null) {
      await countByMonth(writer, { at: now(), device, action: 'stored-records', count: batch.stored });
      await countByMonth(writer, { at: now(), device, action: 'withdrew-patients', count: batch.withdrawn });
    }
    const items = await answerItems(writer, batch, outcomes);
    const { epoch } = await writer.study();
    return {
      answer: { batch: sent.batch, epoch, items, sequence },
      withdrew: before === null && batch.withdrawn > 0,
    };
  });
  // What was withdrawn is deleted already; this also takes it out of the database's own log.
  if (withdrew) await store.forgetDeleted().catch(() => undefined);
  return answer;
}

/** A withdrawal is taken at any time; a record only under the definition in force, and beside no statistics. */
async function requireRightContribution(
  reader: StudyReader,
  member: string,
  sent: UnpackedBatch,
): Promise<void> {
  if (!sent.items.some(({ kind }) => kind === 'record')) return;
  requireDefinition(await reader.definition(), sent.definition);
  if ((await reader.federatedOf(member))?.body == null) return;
  throw new Refusal(
    'mixed-contribution',
    'This centre sends statistics in place of records. Take its statistics out of the pool first.',
  );
}

/** Writes what was decided and returns the last sequence number of it. */
async function storeBatch(writer: StudyWriter, batch: PendingBatch, month: string): Promise<number> {
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
  await writer.insertBatch({ member: batch.member, batch: batch.key, digest: batch.digest, sequence });
  return sequence;
}

async function answerItems(
  reader: StudyReader,
  batch: PendingBatch,
  outcomes: readonly ItemOutcome[],
): Promise<ItemAnswer[]> {
  const contested = outcomes.filter(({ kind }) => kind === 'conflict').map(({ pseudonym }) => pseudonym);
  const heads = await reader.headsOf(batch.member, [...new Set(contested)]);
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
        const kind = outcome.batch === batch.key ? 'stored' : 'already-stored';
        return { kind, pseudonym, sequence: batch.sequenceOf(outcome) };
      }
    }
  });
}
