import { callTRPCProcedure, getTRPCErrorFromUnknown } from '@trpc/server';
import { callEnvelopeSchema, type ResultEnvelope } from './envelope';
import type { Host } from './host';
import { appRouter } from './router/router';
import { failureOf } from './trpc';

/** Answers one call that came between processes. Never rejects. */
export async function callRouter(host: Host, envelope: unknown): Promise<ResultEnvelope> {
  try {
    const { path, type, input } = callEnvelopeSchema.parse(envelope);
    const data: unknown = await callTRPCProcedure({
      router: appRouter,
      path,
      type,
      ctx: { host },
      getRawInput: () => Promise.resolve(input),
      signal: undefined,
      batchIndex: 0,
    });
    return { ok: true, data };
  } catch (thrown) {
    const { reason, message } = failureOf(getTRPCErrorFromUnknown(thrown));
    return { ok: false, error: { reason, message } };
  }
}
