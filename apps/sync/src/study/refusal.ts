import type { RefusalCode } from '@longhold/core/exchange';
import { ZodError } from 'zod';
import { StoreError } from '../store/store-error';

/** A refusal that may be shown: the message says what would be right, and never repeats what was sent. */
export class Refusal extends Error {
  readonly code: RefusalCode;

  constructor(code: RefusalCode, message: string) {
    super(message);
    this.name = 'Refusal';
    this.code = code;
  }
}

/** Turns anything thrown into a refusal. What is not known gets a fixed sentence, because drivers quote values. */
export function toRefusal(thrown: unknown): Refusal {
  if (thrown instanceof Refusal) return thrown;
  if (thrown instanceof ZodError) return wrongInput(thrown);
  if (thrown instanceof StoreError) {
    return new Refusal(
      'unavailable',
      'The service cannot reach or write its store just now. Nothing of this request counts as stored; send it again later.',
    );
  }
  return new Refusal(
    'unavailable',
    'The service met a fault of its own. Nothing of this request counts as stored; send it again later.',
  );
}

/** The refusal of a body that cannot be read as JSON. */
export function notJson(): Refusal {
  return new Refusal('wrong-input', 'The request is not JSON as the protocol has it.');
}

const MOST_FAULTS = 10;

/** Names each field that did not fit and what would; never the value that was given, nor a key that was made up. */
function wrongInput(error: ZodError): Refusal {
  const parts = error.issues.slice(0, MOST_FAULTS).map(({ path, code, message }) => {
    const place = path.map(String).join('.') || 'the input';
    return code === 'unrecognized_keys'
      ? `${place}: has a key that is not in the protocol`
      : `${place}: ${message}`;
  });
  return new Refusal('wrong-input', `The request does not fit the protocol (${parts.join('; ')}).`);
}
