import { z } from 'zod';
import type { FailureReason } from './failure';

/** One call of the router as it crosses between processes. */
export const callEnvelopeSchema = z.strictObject({
  path: z.string().max(100),
  type: z.enum(['query', 'mutation']),
  input: z.unknown(),
});
export type CallEnvelope = z.infer<typeof callEnvelopeSchema>;

/** What comes back. Errors are values: Electron would flatten a thrown one to a string. */
export type ResultEnvelope =
  | { readonly ok: true; readonly data: unknown }
  | { readonly ok: false; readonly error: { readonly reason: FailureReason; readonly message: string } };
