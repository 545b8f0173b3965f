import { randomUUID } from 'node:crypto';
import { studyDefinitionSchema } from '@longhold/core/contribution';
import { canonicalJson, type ProcedureAnswer, type StatisticsInput } from '@longhold/core/exchange';
import { centreStatisticsSchema, impossibleStatistics, patientsChangedAtLeast } from '@longhold/core/pooled';
import type { FederatedRow } from '../store/pool-rows';
import type { StudyReader, SyncStore } from '../store/sync-store';
import { countByMonth, monthOf } from './audit';
import { requireLive, type Caller } from './caller';
import { requireDefinition } from './definition';
import { nextSequence } from './next-sequence';
import { Refusal } from './refusal';
import { digestOf } from './secrets';

/**
 * Takes the statistics of a centre that sends no records, in place of its former ones. Where patients were withdrawn
 * with them, every pooled answer that held the centre is deleted, since sums don't tell which patients they hold.
 */
export async function statistics(
  { store, device, now }: Caller,
  input: StatisticsInput,
): Promise<ProcedureAnswer<'statistics'>> {
  const { member } = device;
  await requirePossible(store, input);
  const body = input.statistics === null ? null : canonicalJson(input.statistics);
  const digest = body === null ? null : digestOf(body);
  const { row, forgot } = await store.write(async (writer) => {
    await writer.holdMember(member);
    await requireLive(writer, device);
    await writer.markHeard(member);
    const former = await writer.federatedOf(member);
    if (isRepeated(former, digest, input)) return { row: former, forgot: false };
    if ((former?.digest ?? null) !== input.replaces) throw otherInBetween();
    const definition = await rightDefinition(writer, member, input);
    const withdrawn = patientsWithdrawn(former, input);
    const sequence = await nextSequence(writer, 1);
    const next: FederatedRow = {
      member,
      definition,
      sequence,
      digest,
      patients: input.statistics === null ? 0 : input.statistics.treated + input.statistics.untreated,
      changedAtLeast: await changedAtLeast(writer, former, input),
      withdrawn,
      receipt: withdrawn === 0 ? null : randomUUID(),
      month: withdrawn === 0 ? null : monthOf(now()),
      body,
    };
    await writer.putFederated(next);
    await writer.dropStatistics(member);
    if (withdrawn > 0) await writer.dropViewsHolding(member, 0);
    await countByMonth(writer, { at: now(), device, action: 'sent-statistics', count: 1 });
    await countByMonth(writer, { at: now(), device, action: 'withdrew-patients', count: withdrawn });
    return { row: next, forgot: former !== null };
  });
  if (forgot) await store.forgetDeleted().catch(() => undefined);
  return answerOf(row, digest);
}

/**
 * No records can give other sums than these. Of another version than the one in force nothing is checked, since it is
 * refused or repeats what was checked.
 *
 * @throws Refusal wrong-input that names what cannot be, and what would be right
 */
async function requirePossible(store: SyncStore, { statistics: sent }: StatisticsInput): Promise<void> {
  if (sent === null) return;
  const inForce = await store.read((reader) => reader.definition());
  if (inForce?.version !== sent.definition) return;
  const faults = impossibleStatistics(sent, studyDefinitionSchema.parse(JSON.parse(inForce.body)));
  if (faults.length === 0) return;
  const parts = faults.map(({ place, right }) => `${place}: ${right}`);
  throw new Refusal(
    'wrong-input',
    `No records under the study definition can give these statistics. What would be right: ${parts.join('; ')}.`,
  );
}

function otherInBetween(): Refusal {
  return new Refusal(
    'statistics-conflict',
    'The service holds other statistics of this centre than those to be replaced. Ask which, make the statistics anew from all of the records of the clinic, and send them in their place.',
  );
}

/** Whether this is what came last, sent again; also where there is nothing to take out. */
function isRepeated(
  former: FederatedRow | null,
  digest: string | null,
  { withdrawn }: StatisticsInput,
): boolean {
  if (former === null) return digest === null;
  return former.digest === digest && (withdrawn === 0 || withdrawn === former.withdrawn || digest === null);
}

/** @throws Refusal unless the statistics are of the definition in force and the centre has no records here. */
async function rightDefinition(
  reader: StudyReader,
  member: string,
  { statistics: sent }: StatisticsInput,
): Promise<number> {
  const inForce = await reader.definition();
  const definition = requireDefinition(inForce, sent?.definition ?? inForce?.version ?? 0);
  if (sent !== null && (await reader.headsAfter(member, 0, 1)).length > 0) {
    throw new Refusal(
      'mixed-contribution',
      'The records of this centre are in the pool. Withdraw them all first; then its statistics are taken.',
    );
  }
  return definition;
}

/** Taking all statistics out withdraws everyone in them. */
function patientsWithdrawn(
  former: FederatedRow | null,
  { statistics: sent, withdrawn }: StatisticsInput,
): number {
  return sent === null ? Math.max(withdrawn, former?.patients ?? 0) : withdrawn;
}

/** Since the last release that held the centre: the most that changed at one time. */
async function changedAtLeast(
  reader: StudyReader,
  former: FederatedRow | null,
  { statistics: sent }: StatisticsInput,
): Promise<number> {
  if (sent === null) return 0;
  if (former === null || former.body === null) return sent.treated + sent.untreated;
  const now = patientsChangedAtLeast(centreStatisticsSchema.parse(JSON.parse(former.body)), sent);
  const [release] = await reader.releases();
  const isReleased = release !== undefined && release.sequence >= former.sequence;
  return isReleased ? now : Math.max(now, former.changedAtLeast);
}

function answerOf(row: FederatedRow | null, digest: string | null): ProcedureAnswer<'statistics'> {
  if (row === null) return { digest, sequence: 0, receipt: null };
  const { sequence, receipt, month, withdrawn } = row;
  return {
    digest: row.digest,
    sequence,
    receipt:
      receipt === null || month === null ? null : { id: receipt, sequence, patients: withdrawn, month },
  };
}
