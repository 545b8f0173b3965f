import { z } from 'zod';
import type { FailureReason } from './failure';

/** One call of the router as it crosses between processes. `input` is JSON, so that it is the same as over HTTP. */
export const callEnvelopeSchema = z.strictObject({
  path: z.string().max(100),
  type: z.enum(['query', 'mutation']),
  /** Null for a call without input. */
  input: z.string().nullable(),
});
export type CallEnvelope = z.infer<typeof callEnvelopeSchema>;

/** What comes back. Errors are values: Electron would flatten a thrown one to a string. */
export type ResultEnvelope =
  /** JSON; null for a call without a result. */
  | { readonly ok: true; readonly data: string | null }
  | { readonly ok: false; readonly error: { readonly reason: FailureReason; readonly message: string } };
