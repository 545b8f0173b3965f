import type { TRPCError } from '@trpc/server';
import { initTRPC } from '@trpc/server';
import type { RefusalCode } from '@longhold/core/exchange';
import type { Pool } from '../pool/pool';
import type { DeviceRow, SyncStore } from '../store/sync-store';
import { notJson, Refusal, toRefusal } from '../study/refusal';

/** What every procedure is given. */
export interface RequestContext {
  readonly store: SyncStore;
  readonly now: () => Date;
  readonly pool: Pool;
  /** Null for those who only may ask what anyone may. */
  readonly device: DeviceRow | null;
}

const STATUS: Record<RefusalCode, number> = {
  'not-signed-in': 401,
  revoked: 401,
  'not-allowed': 403,
  'code-unknown': 403,
  'code-used': 403,
  'code-expired': 403,
  'protocol-too-old': 426,
  'protocol-too-new': 501,
  'definition-missing': 409,
  'definition-outdated': 409,
  'definition-conflict': 409,
  'batch-reused': 409,
  'wrong-digest': 422,
  'mixed-contribution': 409,
  'statistics-conflict': 409,
  'wrong-input': 400,
  'too-large': 413,
  'too-many-requests': 429,
  'not-found': 404,
  unavailable: 503,
};

/** The HTTP status of a refusal. */
export function statusOf(code: RefusalCode): number {
  return STATUS[code];
}

/** The body of a refusal; nothing else ever stands in one. */
export function refusalBody(refusal: Refusal) {
  const data = { reason: refusal.code, httpStatus: STATUS[refusal.code] };
  return { error: { message: refusal.message, data } };
}

/** The refusal behind an error of the router. */
export function refusalOf(error: TRPCError): Refusal {
  if (error.cause !== undefined) return toRefusal(error.cause);
  if (error.code === 'NOT_FOUND' || error.code === 'METHOD_NOT_SUPPORTED') return noSuchProcedure();
  if (error.code === 'INTERNAL_SERVER_ERROR') return toRefusal(error);
  return notJson();
}

/** The refusal of a name that nothing here goes by. */
export function noSuchProcedure(): Refusal {
  return new Refusal('not-found', 'There is no such procedure. Each is asked by POST to /rpc/NAME.');
}

export const t = initTRPC.context<RequestContext>().create({
  isDev: false,
  // An allow-list: no stack, no cause, no input.
  errorFormatter: ({ error }) => refusalBody(refusalOf(error)).error,
});
