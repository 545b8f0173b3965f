import { initTRPC, TRPCError } from '@trpc/server';
import { HostFailure, tooLarge, toFailure, type FailureReason } from './failure';
import type { Host } from './host';

/** What every procedure is given. */
export interface HostContext {
  readonly host: Host;
}

const t = initTRPC.context<HostContext>().create({
  isDev: false,
  // An allow-list: no stack, no cause, no input. The message is one that may be shown.
  errorFormatter: ({ shape, error }) => {
    const failure = failureOf(error);
    return {
      code: shape.code,
      message: failure.message,
      data: { code: shape.data.code, httpStatus: shape.data.httpStatus, reason: failure.reason },
    };
  },
});

/** The failure behind an error of the router; the router's own refusals count as input that does not fit. */
export function failureOf(error: TRPCError): HostFailure {
  if (error.code === 'PAYLOAD_TOO_LARGE') return tooLarge();
  if (error.cause !== undefined) return toFailure(error.cause);
  if (error.code === 'INTERNAL_SERVER_ERROR') return toFailure(error);
  return new HostFailure('invalid-input', `The request was refused (${error.code}).`);
}

const STATUS_OF: Partial<Record<FailureReason, TRPCError['code']>> = {
  internal: 'INTERNAL_SERVER_ERROR',
  'too-large': 'PAYLOAD_TOO_LARGE',
  'no-store-open': 'PRECONDITION_FAILED',
  'wrong-passphrase': 'FORBIDDEN',
  'unknown-patient': 'NOT_FOUND',
  'unknown-job': 'NOT_FOUND',
};

/** Every procedure: failures become router errors in one place. */
export const procedure = t.procedure.use(async ({ next }) => {
  const result = await next();
  if (result.ok) return result;
  const failure = failureOf(result.error);
  throw new TRPCError({
    code: STATUS_OF[failure.reason] ?? 'BAD_REQUEST',
    cause: failure,
    message: failure.message,
  });
});

/** A procedure that needs an open store; handlers find it in the context and never ask again. */
export const openProcedure = procedure.use(({ ctx, next }) =>
  next({ ctx: { open: ctx.host.requireOpen() } }),
);

export const router = t.router;
