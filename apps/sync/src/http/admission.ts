import { epochSchema, PROCEDURES, type ProcedureName } from '@longhold/core/exchange';
import type { DeviceRow } from '../store/sync-store';
import type { Caller } from '../study/caller';
import { Refusal } from '../study/refusal';

/** @throws Refusal not-allowed unless the procedure is open to anyone, or to the role of the device. */
export function requireRole(name: ProcedureName, device: DeviceRow | null): void {
  const { roles } = PROCEDURES[name];
  if (roles === 'anyone') return;
  const allowed: readonly string[] = roles;
  if (device !== null && allowed.includes(device.role)) return;
  throw new Refusal('not-allowed', `This is for a member with the role ${allowed.join(' or ')}.`);
}

/** The caller of a procedure that is not open to anyone. @throws Refusal not-signed-in */
export function callerOf(asked: Omit<Caller, 'device'> & { readonly device: DeviceRow | null }): Caller {
  const { store, now, device, epoch } = asked;
  if (device === null) throw new Refusal('not-signed-in', 'Send the token of an enrolled device.');
  return { store, now, device, epoch };
}

/** The epoch that a request names in its header; null where it names none. @throws Refusal wrong-input */
export function epochOf(header: string | string[] | undefined): string | null {
  if (header === undefined) return null;
  const epoch = epochSchema.safeParse(header);
  if (epoch.success) return epoch.data;
  throw new Refusal('wrong-input', 'The epoch in the header is not one that "session" gave.');
}
