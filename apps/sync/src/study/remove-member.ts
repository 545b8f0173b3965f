import { randomUUID } from 'node:crypto';
import type { ProcedureAnswer, ProcedureInput } from '@longhold/core/exchange';
import type { RemovedMemberRow, Way } from '../store/pool-rows';
import type { StudyWriter, SyncStore } from '../store/sync-store';
import { countByMonth, monthOf } from './audit';
import { requireLive, type Caller } from './caller';
import { nextSequence } from './next-sequence';
import { Refusal } from './refusal';
import { tombstoneDigest } from './secrets';

/** Takes a member out of the study, asked by the coordinator. */
export async function removeMember(
  { store, device, now }: Caller,
  { member }: ProcedureInput<'removeMember'>,
): Promise<ProcedureAnswer<'removeMember'>> {
  const { receipt, month, held } = await takeOut(store, { member, device, now });
  return { receipt, month, held: held ?? 'nothing' };
}

/**
 * Takes a member out of the study for good: its devices and codes stop working, every patient of it is withdrawn, and its
 * statistics and every pooled answer that held it are deleted. Asked again it changes nothing and says the same.
 *
 * @param device who asks; null for the service's own operator
 * @throws Refusal not-found where there is no such member, not-allowed for the coordinator
 */
export async function takeOut(
  store: SyncStore,
  {
    member,
    device,
    now,
  }: { readonly member: string; readonly device: Caller['device'] | null; readonly now: Caller['now'] },
): Promise<RemovedMemberRow> {
  const { row, isNew } = await store.write(async (writer) => {
    if (device !== null) await requireLive(writer, device);
    await requireRemovable(writer, member);
    await writer.holdMember(member);
    const before = await writer.removedMember(member);
    if (before !== null) return { row: before, isNew: false };
    // Codes first: whoever is just using one is waited for, and is then among the devices.
    await writer.useCodesOf(member);
    await writer.revokeDevices((await writer.devices(member)).map(({ id }) => id));
    const removed = { member, receipt: randomUUID(), month: monthOf(now()) };
    const withdrawn = { ...removed, held: await withdrawAll(writer, removed) };
    await writer.insertRemovedMember(withdrawn);
    await countByMonth(writer, { at: now(), device, action: 'removed-member', count: 1, subject: member });
    return { row: withdrawn, isNew: true };
  });
  // What was removed is deleted already; this also takes it out of the database's own log.
  if (isNew) await store.forgetDeleted().catch(() => undefined);
  return row;
}

async function requireRemovable(writer: StudyWriter, member: string): Promise<void> {
  const found = await writer.member(member);
  if (found === null) throw new Refusal('not-found', 'There is no such member in the study.');
  if (found.role === 'coordinator') {
    throw new Refusal('not-allowed', 'The coordinator cannot be taken out of the study.');
  }
}

/** Withdraws everyone whom the member sent, in whatever way, and returns what was held. */
async function withdrawAll(
  writer: StudyWriter,
  { member, receipt, month }: Omit<RemovedMemberRow, 'held'>,
): Promise<Way | null> {
  const patients = await writer.patientsOf(member);
  const federated = await writer.federatedOf(member);
  const first = await nextSequence(writer, patients.length + 1);
  await writer.deleteRecordsOf(member);
  await writer.insertTombstones(
    patients.map(({ pseudonym, versions, firstSequence }, i) => ({
      member,
      digest: tombstoneDigest(member, pseudonym),
      sequence: first + i,
      receipt,
      versionsRemoved: versions,
      month,
      firstSequence,
    })),
  );
  if (federated?.body != null) {
    await writer.putFederated({
      ...federated,
      sequence: first + patients.length,
      digest: null,
      patients: 0,
      changedAtLeast: 0,
      withdrawn: federated.patients,
      receipt,
      month,
      body: null,
    });
  }
  await writer.dropStatistics(member);
  await writer.dropViewsHolding(member, 0);
  if (federated?.body != null) return 'statistics';
  return patients.length > 0 ? 'records' : null;
}
