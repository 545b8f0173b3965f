import type { DeviceRow, StudyReader, SyncStore } from '../store/sync-store';
import { Refusal } from './refusal';
import { digestOf } from './secrets';

/** Who asks, and with what the answer is made. */
export interface Caller {
  readonly store: SyncStore;
  readonly device: DeviceRow;
  readonly now: () => Date;
  /** The epoch of the service that the asker knows; null where the request names none. */
  readonly epoch: string | null;
}

/** The device behind a token. @throws Refusal not-signed-in or revoked. */
export async function signIn(store: SyncStore, token: string | null): Promise<DeviceRow> {
  if (token === null) {
    throw new Refusal('not-signed-in', 'Send the token of an enrolled device: Authorization: Bearer TOKEN.');
  }
  const digest = digestOf(token);
  const device = await store.read((reader) => reader.deviceByToken(digest));
  if (device === null) {
    throw new Refusal(
      'not-signed-in',
      'This token is not known here. Use the token that enrolment or its latest rotation gave, or enrol again.',
    );
  }
  requireNotRevoked(device);
  return device.nextTokenDigest === digest ? takeOver(store, device, digest) : device;
}

/** The waiting token was used, so it has arrived: from now on it is the only one. */
async function takeOver(store: SyncStore, device: DeviceRow, digest: string): Promise<DeviceRow> {
  return store.write(async (writer) => {
    await writer.holdMember(device.member);
    const latest = await writer.deviceByToken(digest);
    if (latest === null) throw replacedToken();
    requireNotRevoked(latest);
    if (latest.nextTokenDigest === digest) await writer.setTokens(device.id, digest, null);
    return { ...latest, tokenDigest: digest, nextTokenDigest: null };
  });
}

/** Looks again inside a change, since the device may have been revoked meanwhile, and returns it as it is now. */
export async function requireLive(reader: StudyReader, device: DeviceRow): Promise<DeviceRow> {
  const latest = await reader.device(device.id);
  if (latest === null) throw new Refusal('not-signed-in', 'This device is not known here. Enrol again.');
  requireNotRevoked(latest);
  return latest;
}

/** The refusal of a token that another one took over from. */
export function replacedToken(): Refusal {
  return new Refusal('not-signed-in', 'This token was replaced by a newer one. Use that.');
}

function requireNotRevoked(device: DeviceRow): void {
  if (!device.revoked) return;
  throw new Refusal('revoked', 'This device was revoked. Ask your clinic or the coordinator for a new code.');
}
