import type { ProcedureAnswer, ProcedureInput } from '@longhold/core/exchange';
import type { DeviceRow, StudyWriter } from '../store/sync-store';
import { noteAct } from './audit';
import { replacedToken, requireLive, type Caller } from './caller';
import { Refusal } from './refusal';
import { digestOf, newToken } from './secrets';

/** Who is asking, and what the service holds by now. */
export async function session({ store, device }: Caller): Promise<ProcedureAnswer<'session'>> {
  return store.read(async (reader) => {
    const study = await reader.study();
    return {
      study: study.id,
      epoch: study.epoch,
      member: device.member,
      device: device.id,
      role: device.role,
      definition: (await reader.definition())?.version ?? null,
      sequence: study.sequence,
      statistics: (await reader.federatedOf(device.member))?.digest ?? null,
    };
  });
}

/** Devices of the own member; of all for the coordinator. */
export async function devices({ store, device }: Caller): Promise<ProcedureAnswer<'devices'>> {
  const member = device.role === 'coordinator' ? null : device.member;
  return store.read(async (reader) => {
    const removed = new Set((await reader.removedMembers()).map((one) => one.member));
    return {
      devices: (await reader.devices(member)).map(({ id, member: of, role, number, revoked }) => ({
        device: id,
        member: of,
        role,
        number,
        revoked,
        removed: removed.has(of),
      })),
    };
  });
}

/** A new token, which replaces the present one once it is used. */
export async function rotateToken({ store, device, now }: Caller): Promise<ProcedureAnswer<'rotateToken'>> {
  const token = newToken();
  await store.write(async (writer) => {
    await writer.holdMember(device.member);
    const latest = await requireLive(writer, device);
    // A token that took over meanwhile must not be driven out by the one it replaced.
    if (latest.tokenDigest !== device.tokenDigest) throw replacedToken();
    await writer.setTokens(device.id, device.tokenDigest, digestOf(token));
    await noteAct(writer, { at: now(), device, action: 'rotated-token' });
  });
  return { token };
}

/** Ends devices: their tokens are refused from the moment this is answered, also for what is on its way. */
export async function revoke(
  { store, device, now }: Caller,
  input: ProcedureInput<'revoke'>,
): Promise<ProcedureAnswer<'revoke'>> {
  return store.write(async (writer) => {
    await requireLive(writer, device);
    const meant = await meantDevices(writer, input);
    const [first] = meant;
    if (first === undefined)
      throw new Refusal('not-found', 'There is no such device or member in the study.');
    if (device.role !== 'coordinator' && first.member !== device.member) {
      throw new Refusal('not-allowed', 'Only the coordinator revokes devices of other members.');
    }
    await writer.holdMember(first.member);
    // A code that was made before must not bring back whom somebody else shut out.
    if (input.kind === 'member' || first.id !== device.id) await writer.useCodesOf(first.member);
    const revoked = await writer.revokeDevices(meant.map(({ id }) => id));
    const subject = input.kind === 'device' ? input.device : input.member;
    await noteAct(writer, { at: now(), device, action: 'revoked', subject });
    return { revoked };
  });
}

async function meantDevices(writer: StudyWriter, input: ProcedureInput<'revoke'>): Promise<DeviceRow[]> {
  if (input.kind === 'member') return writer.devices(input.member);
  const found = await writer.device(input.device);
  return found === null ? [] : [found];
}
