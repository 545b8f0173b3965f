import { PROCEDURES, type ProcedureName } from '@longhold/core/exchange';
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
  const { store, now, device } = asked;
  if (device === null) throw new Refusal('not-signed-in', 'Send the token of an enrolled device.');
  return { store, now, device };
}
