import { randomUUID } from 'node:crypto';
import type { ProcedureAnswer, ProcedureInput, Role } from '@longhold/core/exchange';
import type { MemberRow, StudyWriter, SyncStore } from '../store/sync-store';
import { noteAct } from './audit';
import { requireLive, type Caller } from './caller';
import { Refusal } from './refusal';
import { digestOf, newEnrolmentCode, newToken } from './secrets';

const CODE_DAYS = 7;
const MILLISECONDS_A_DAY = 86_400_000;

/** A code for a further device of the own member; the coordinator also invites new members. */
export async function invite(
  { store, device, now }: Caller,
  input: ProcedureInput<'invite'>,
): Promise<ProcedureAnswer<'invite'>> {
  return store.write(async (writer) => {
    await requireLive(writer, device);
    const member = await invitedMember(writer, device, input);
    await noteAct(writer, { at: now(), device, action: 'invited', subject: member.id });
    return issueCode(writer, member, now());
  });
}

async function invitedMember(
  writer: StudyWriter,
  device: Caller['device'],
  { role, member }: ProcedureInput<'invite'>,
): Promise<MemberRow> {
  const coordinates = device.role === 'coordinator';
  if (member === null) {
    if (!coordinates) {
      throw new Refusal(
        'not-allowed',
        'Only the coordinator invites new members. Name your own member to invite a further device.',
      );
    }
    return addMember(writer, role);
  }
  if (!coordinates && member !== device.member) {
    throw new Refusal('not-allowed', 'Only the coordinator invites devices of other members.');
  }
  const found = await writer.member(member);
  if (found === null) throw new Refusal('not-found', 'There is no member with this id in the study.');
  // Not while the member is being taken out, on whatever service.
  await writer.holdMember(found.id);
  if ((await writer.removedMember(found.id)) !== null) {
    throw new Refusal(
      'not-found',
      'This member was taken out of the study for good. Invite the clinic as a new member.',
    );
  }
  if (found.role !== role) {
    throw new Refusal(
      'wrong-input',
      `This member's role is ${found.role}; a device has the role of its member.`,
    );
  }
  return found;
}

async function addMember(writer: StudyWriter, role: Role): Promise<MemberRow> {
  // Two invitations may be under way at once, on two services: the counter is the one row that both must hold.
  await writer.takeSequences(0);
  const alike = (await writer.members()).filter((member) => member.role === role);
  const member = { id: randomUUID(), role, number: Math.max(0, ...alike.map(({ number }) => number)) + 1 };
  await writer.insertMember(member);
  return member;
}

/** Draws a code for a member; only its digest is kept. */
async function issueCode(
  writer: StudyWriter,
  member: MemberRow,
  at: Date,
): Promise<ProcedureAnswer<'invite'>> {
  const code = newEnrolmentCode();
  const expires = new Date(at.getTime() + CODE_DAYS * MILLISECONDS_A_DAY).toISOString();
  await writer.insertCode({ digest: digestOf(code), member: member.id, expires, used: false });
  return { code, member: member.id, number: member.number, expires };
}

/** Exchanges a code for the token of a new device. */
export async function enrol(
  { store, now }: Pick<Caller, 'store' | 'now'>,
  { code }: ProcedureInput<'enrol'>,
): Promise<ProcedureAnswer<'enrol'>> {
  const digest = digestOf(code);
  return store.write(async (writer) => {
    const found = await writer.code(digest);
    const member = found === null ? null : await writer.member(found.member);
    if (found === null || member === null) {
      throw new Refusal(
        'code-unknown',
        'This code is not known here. Check it sign by sign, or ask for a new one.',
      );
    }
    if (found.used) {
      throw new Refusal(
        'code-used',
        'This code has been used. Each device needs a code of its own; ask for a new one.',
      );
    }
    if (now().getTime() >= new Date(found.expires).getTime()) {
      throw new Refusal('code-expired', 'This code has expired. Ask whoever invited you for a new one.');
    }
    // Two devices may have come this far at once, on two servers; the database lets one of them through.
    if (!(await writer.useCode(digest))) {
      throw new Refusal('code-used', 'This code has just been used. Ask for a new one.');
    }
    const token = newToken();
    const device = { id: randomUUID(), member: member.id };
    await writer.insertDevice({
      ...device,
      tokenDigest: digestOf(token),
      nextTokenDigest: null,
      revoked: false,
    });
    await noteAct(writer, { at: now(), device, action: 'enrolled', subject: device.id });
    const study = await writer.study();
    return {
      token,
      study: study.id,
      member: member.id,
      device: device.id,
      role: member.role,
      number: member.number,
    };
  });
}

/** A code for the coordinator, where the study has none yet; null where it has one. For the first start. */
export async function firstCoordinatorCode(
  store: SyncStore,
  now: () => Date,
): Promise<ProcedureAnswer<'invite'> | null> {
  return store.write(async (writer) => {
    // Two services may start at once on a new database: the counter is the one row that both must hold.
    await writer.takeSequences(0);
    if ((await writer.members()).length > 0) return null;
    return coordinatorCodeIn(writer, now());
  });
}

/** A further code for the coordinator, asked for at the service's own console; makes the member where there is none. */
export async function coordinatorCode(store: SyncStore, now: () => Date): Promise<ProcedureAnswer<'invite'>> {
  return store.write((writer) => coordinatorCodeIn(writer, now()));
}

async function coordinatorCodeIn(writer: StudyWriter, at: Date): Promise<ProcedureAnswer<'invite'>> {
  const known = (await writer.members()).find(({ role }) => role === 'coordinator');
  const member = known ?? (await addMember(writer, 'coordinator'));
  await noteAct(writer, { at, device: null, action: 'invited', subject: member.id });
  return issueCode(writer, member, at);
}
