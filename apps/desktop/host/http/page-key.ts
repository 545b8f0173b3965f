import { createHash, randomBytes, timingSafeEqual } from 'node:crypto';

/**
 * Who may use the host over HTTP. The address that was printed carries a key that works once; whoever brings it
 * gets a session, held in a cookie that scripts cannot read.
 */
export class PageKeys {
  #key: string | null = randomBytes(24).toString('base64url');
  readonly #session = randomBytes(24).toString('base64url');

  /** The key for the address; null once it was used. */
  get unusedKey(): string | null {
    return this.#key;
  }

  /** The session for a key that is right and unused; null otherwise. A wrong key does not use up the right one. */
  exchange(given: string): string | null {
    if (this.#key === null || !sameText(given, this.#key)) return null;
    this.#key = null;
    return this.#session;
  }

  isSession(given: string | undefined): boolean {
    return given !== undefined && sameText(given, this.#session);
  }
}

/** Compares without telling by its time how much was right. */
function sameText(a: string, b: string): boolean {
  const digest = (text: string): Buffer => createHash('sha256').update(text).digest();
  return timingSafeEqual(digest(a), digest(b));
}
