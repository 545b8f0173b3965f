import { pooledRecordSchema, studyDefinitionSchema } from '@longhold/core/contribution';
import type { ProcedureAnswer, PulledChange, PullInput } from '@longhold/core/exchange';
import type { HeadRow, StudyReader, TombstoneRow } from '../store/sync-store';
import { countByMonth } from './audit';
import type { Caller } from './caller';
import { definitionInForce } from './definition';
import { Refusal } from './refusal';

/** Changes after a cursor: the clinic's own, or those of all where the study agreement shares records. */
export async function pull(
  { store, device, now }: Caller,
  { after, of, limit }: PullInput,
): Promise<ProcedureAnswer<'pull'>> {
  const { answer, isHeard } = await store.read(async (reader) => {
    const unheard = await reader.unheardMembers();
    if (of === 'all') await requireSharing(reader, unheard);
    else requireOwnRecords(device.role);
    const member = of === 'all' ? null : device.member;
    const { epoch, sequence } = await reader.study();
    // One more than asked for, of each kind, tells whether there is more.
    const heads = await reader.headsAfter(member, after, limit + 1);
    const tombstones = await reader.tombstonesAfter(member, after, limit + 1);
    const all = [...heads.map(changeOfHead), ...tombstones.map(changeOfTombstone)];
    const page = all.sort((a, b) => a.sequence - b.sequence).slice(0, limit);
    const more = all.length > limit;
    const readable = of === 'all' ? await sharedVersions(reader) : null;
    const changes = page.filter(
      (change) => change.kind === 'withdrawal' || readable === null || readable.has(change.definition),
    );
    const isHeard = of === 'own' && !more && unheard.has(device.member);
    return {
      answer: { epoch, changes, next: more ? (page.at(-1)?.sequence ?? after) : sequence, more },
      isHeard,
    };
  });
  // A clinic reads its own records to the end after it has repeated its withdrawals.
  if (isHeard) await store.write((writer) => writer.markHeard(device.member));
  if (of === 'all') await noteReading({ store, device, now }, answer.changes.length);
  return answer;
}

/** Reading others' records is written down, counted by month. */
async function noteReading({ store, device, now }: Caller, count: number): Promise<void> {
  if (count === 0) return;
  await store.write((writer) => countByMonth(writer, { at: now(), device, action: 'read-records', count }));
}

async function requireSharing(reader: StudyReader, unheard: ReadonlySet<string>): Promise<void> {
  const inForce = await definitionInForce(reader);
  if (inForce?.definition.recordsShared === true) {
    if (unheard.size === 0) return;
    throw new Refusal(
      'unavailable',
      'The service was restored from a backup, and not every centre has repeated its withdrawals since. Records of others are read when all have, or were removed from the study.',
    );
  }
  throw new Refusal(
    'not-allowed',
    'The study agreement does not share records among members. Ask for your own, or for pooled results.',
  );
}

/** Others read a record only where the definition that its clinic confirmed already shared records. */
async function sharedVersions(reader: StudyReader): Promise<ReadonlySet<number>> {
  const versions = await reader.definitions();
  return new Set(
    versions.flatMap(({ version, body }) =>
      studyDefinitionSchema.parse(JSON.parse(body)).recordsShared ? [version] : [],
    ),
  );
}

function requireOwnRecords(role: Caller['device']['role']): void {
  if (role === 'centre') return;
  throw new Refusal('not-allowed', 'Only a centre has records of its own.');
}

function changeOfHead({ member, version, sequence, definition, body }: HeadRow): PulledChange {
  const record = pooledRecordSchema.parse(JSON.parse(body));
  return { kind: 'record', sequence, member, version, definition, record };
}

function changeOfTombstone({ member, sequence, digest }: TombstoneRow): PulledChange {
  return { kind: 'withdrawal', sequence, member, tombstone: digest };
}
