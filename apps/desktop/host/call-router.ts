import { callTRPCProcedure, getTRPCErrorFromUnknown } from '@trpc/server';
import { callEnvelopeSchema, type ResultEnvelope } from './envelope';
import { HostFailure, tooLarge } from './failure';
import type { Host } from './host';
import { LARGEST_CALL } from './limits';
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
      getRawInput: () => Promise.resolve(readInput(input)),
      signal: undefined,
      batchIndex: 0,
    });
    return { ok: true, data: data === undefined ? null : JSON.stringify(data) };
  } catch (thrown) {
    const { reason, message } = failureOf(getTRPCErrorFromUnknown(thrown));
    return { ok: false, error: { reason, message } };
  }
}

function readInput(input: string | null): unknown {
  if (input === null) return undefined;
  if (input.length > LARGEST_CALL) throw tooLarge();
  try {
    return JSON.parse(input);
  } catch {
    throw new HostFailure('invalid-input', 'The request was refused (it is not JSON).');
  }
}
