import type { PooledReply, ProcedureAnswer, ProcedureInput } from '@longhold/core/exchange';
import { ownPartSchema, pooledViewSchema, withOwnPart, type PooledView } from '@longhold/core/pooled';
import type { Pool } from '../pool/pool';
import type { PoolSnapshot } from '../pool/snapshot';
import type { ReleaseRow } from '../store/pool-rows';
import type { DeviceRow, StudyReader } from '../store/sync-store';
import type { Caller } from './caller';

type Waiting = Extract<PooledReply, { kind: 'waiting' }>;

/** Milliseconds that an asker waits for a new answer before the last one is given. */
const PATIENCE = 20_000;

/** The pooled answer that the member may see. */
export async function pooled(
  { store, device, pool }: Caller & { readonly pool: Pool },
  { known }: ProcedureInput<'pooled'>,
): Promise<ProcedureAnswer<'pooled'>> {
  const isDone = await pool.refresh(PATIENCE);
  return store.read(async (reader): Promise<PooledReply> => {
    const snapshot = await pool.snapshot(reader);
    const release = snapshot === null ? null : await releaseFor(reader, device, snapshot);
    const setAside = snapshot === null ? [] : await setAsideFor(reader, device, snapshot);
    if (snapshot === null || release === null) return { ...waiting(snapshot, isDone), setAside };
    const newer = snapshot.sequence > release.sequence;
    const { epoch } = snapshot;
    if (known?.epoch === epoch && known.release === release.number) {
      return { kind: 'unchanged', release: release.number, newer, setAside };
    }
    const centres = await reader.releaseCentres(release.number);
    const view = await viewFor(reader, release, device);
    const seen = seesCentres(device, snapshot)
      ? centres.map(({ member }) => member)
      : centres.map(({ member }) => member).filter((member) => member === device.member);
    return {
      kind: 'released',
      epoch,
      release: release.number,
      definition: release.definition,
      centres: centres.length,
      patients: patientsOf(view),
      newer,
      view,
      numbers: await numbersOf(reader, seen),
      setAside,
    };
  });
}

/** The release that a member is shown: the newest one that is for it, unless it was made for another definition. */
async function releaseFor(
  reader: StudyReader,
  { role }: DeviceRow,
  { definition }: PoolSnapshot,
): Promise<ReleaseRow | null> {
  const releases = await reader.releases();
  const newest = releases.find(({ toCoordinator }) => role !== 'coordinator' || toCoordinator);
  if (newest === undefined || newest.definition !== definition.version) return null;
  return (await reader.isShown(newest.number)) ? newest : null;
}

async function viewFor(reader: StudyReader, { number }: ReleaseRow, device: DeviceRow): Promise<PooledView> {
  const view = pooledViewSchema.parse(JSON.parse((await reader.releaseView(number, device.role)) ?? 'null'));
  const own = device.role === 'centre' ? await reader.releaseView(number, device.member) : null;
  return own === null ? view : withOwnPart(view, ownPartSchema.parse(JSON.parse(own)));
}

/** Whether the member's view has other centres than its own in it. */
function seesCentres({ role }: DeviceRow, { definition }: PoolSnapshot): boolean {
  return role === 'coordinator' || (role === 'centre' && definition.parsed.recordsShared);
}

async function numbersOf(
  reader: StudyReader,
  centres: readonly string[],
): Promise<{ readonly centre: string; readonly number: number }[]> {
  return (await reader.members())
    .filter(({ id }) => centres.includes(id))
    .map(({ id, number }) => ({ centre: id, number }));
}

/** Treated patients in an answer, as far as it may be told. */
function patientsOf({ measures, countStep }: PooledView): {
  readonly from: number;
  readonly to: number | null;
} {
  const [first] = measures;
  if (first === undefined) return { from: 1, to: null };
  const { treated, treatedBetween } = first;
  if (treated === null) return { from: Math.max(1, treatedBetween.lower), to: treatedBetween.upper };
  const half = Math.floor(countStep / 2);
  return { from: treated - half, to: treated + half };
}

/** Centres that are left out since nothing can be computed from what they sent: all for the coordinator, else the own one. */
async function setAsideFor(
  reader: StudyReader,
  { role, member: own }: DeviceRow,
  { setAside }: PoolSnapshot,
): Promise<PooledReply['setAside']> {
  const told = setAside.filter(({ member }) => role === 'coordinator' || member === own);
  const numbers = await numbersOf(
    reader,
    told.map(({ member }) => member),
  );
  return numbers.flatMap(({ centre, number }) => {
    const reason = told.find(({ member }) => member === centre)?.reason;
    return reason === undefined ? [] : [{ centre, number, reason }];
  });
}

function waiting(snapshot: PoolSnapshot | null, isDone: boolean): Omit<Waiting, 'setAside'> {
  if (snapshot !== null && snapshot.centres.length === 0 && snapshot.unheard > 0) {
    return {
      kind: 'waiting',
      why: 'restored',
      message:
        'The service was restored from a backup. A centre is in the pool again once its program has asked, because patients may have withdrawn since that backup.',
    };
  }
  if (snapshot === null || snapshot.centres.length === 0) {
    return {
      kind: 'waiting',
      why: 'nothing-contributed',
      message: 'No centre has sent records or statistics under the study definition in force.',
    };
  }
  if (!isDone) {
    return {
      kind: 'waiting',
      why: 'computing',
      message: 'The pooled answer is being computed. Ask again in a minute.',
    };
  }
  const { smallestCell } = snapshot.definition.parsed;
  return {
    kind: 'waiting',
    why: 'too-few-changes',
    message:
      'There is no pooled answer to show just now: the pool is small, or the last answer held somebody who withdrew or was made under another definition. ' +
      `The next one is shown once at least ${smallestCell} patients have changed since, so that nobody can work out single patients from the difference.`,
  };
}
