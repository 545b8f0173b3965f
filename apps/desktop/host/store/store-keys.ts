import { hkdfSync } from 'node:crypto';

/** Length of the random key from which all keys of one store are derived. */
export const MASTER_KEY_BYTES = 32;

/** The two keys that work inside a store. They never leave memory. */
export interface StoreKeys {
  /** Given to the database for its pages: 32 characters that carry 192 random bits. */
  readonly cipherKey: string;
  /** Keys the seals by which changed records are noticed. */
  readonly sealKey: Buffer;
}

/**
 * Derives the keys by HKDF-SHA-256 (RFC 5869). The database's cipher takes text and looks at its first 32
 * characters only: 64 hexadecimal characters would count as 128 bits, so the key is 24 bytes in base64, exactly
 * 32 characters.
 */
export function deriveStoreKeys(master: Buffer): StoreKeys {
  const derive = (purpose: string, bytes: number): Buffer =>
    Buffer.from(hkdfSync('sha256', master, Buffer.alloc(0), `longhold store ${purpose}`, bytes));
  return {
    cipherKey: derive('pages', 24).toString('base64url'),
    sealKey: derive('seals', 32),
  };
}
