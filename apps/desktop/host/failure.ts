import { AnswerStopped } from '@longhold/core/answers';
import { ZodError } from 'zod';
import { STORE_ERROR_CODES, StoreError } from './store/errors';

/** Everything a caller of the host can be told. Closed: the screens and the command line know each of them. */
export const FAILURE_REASONS = [
  ...STORE_ERROR_CODES,
  'no-session',
  'no-store-open',
  'demo-is-fixed',
  'invalid-input',
  'too-large',
  'unknown-job',
  'stopped',
  'not-linked',
  'already-linked',
  'link-file-damaged',
  'preview-changed',
  'sending-refused',
  'pooling-busy',
  'withdrawals-wait',
  'service-unreachable',
  'service-refused',
  'internal',
] as const;
export type FailureReason = (typeof FAILURE_REASONS)[number];

/** A failure whose message may be shown: it says what was wrong, where, and what would be right. */
export class HostFailure extends Error {
  readonly reason: FailureReason;

  constructor(reason: FailureReason, message: string) {
    super(message);
    this.name = 'HostFailure';
    this.reason = reason;
  }
}

/**
 * Turns anything thrown into a failure that may be shown. What is not known becomes `internal` with a fixed
 * sentence, because messages of drivers and libraries can quote records.
 */
export function toFailure(thrown: unknown): HostFailure {
  if (thrown instanceof HostFailure) return thrown;
  if (thrown instanceof StoreError) return new HostFailure(thrown.code, thrown.message);
  if (thrown instanceof AnswerStopped) return new HostFailure('stopped', 'The computation was stopped.');
  if (thrown instanceof ZodError) return new HostFailure('invalid-input', inputSentence(thrown));
  return new HostFailure(
    'internal',
    'Longhold met a fault of its own. Nothing was changed that had not been confirmed. Please try again.',
  );
}

/** Names each field that did not fit and what would; never the value that was given. */
function inputSentence(error: ZodError): string {
  const parts = error.issues.map(({ path, message }) => `${path.join('.') || 'the input'}: ${message}`);
  return `The request does not fit what is expected (${parts.join('; ')}).`;
}

/** The refusal of a call with more in it than the host takes at once. */
export function tooLarge(): HostFailure {
  return new HostFailure(
    'too-large',
    'That is more than Longhold takes in one go. Bring large files in parts: patients first, then measurements.',
  );
}
