import { createHash, createHmac, randomBytes } from 'node:crypto';
import type { PooledRecord } from '@longhold/core/contribution';
import { tombstoneText, versionText } from '@longhold/core/exchange';

const SECRET_BYTES = 32;
const PSEUDONYM_DIGITS = 32;

/** 32 random bytes in hexadecimal, of this clinic and this study only. */
export function newSecret(): string {
  return randomBytes(SECRET_BYTES).toString('hex');
}

/** The pseudonym of a patient: HMAC-SHA-256 (RFC 2104) of the clinic's own code under the secret, the first 128 bits. */
export function pseudonymOf(secret: string, code: string): string {
  return createHmac('sha256', Buffer.from(secret, 'hex'))
    .update(code, 'utf8')
    .digest('hex')
    .slice(0, PSEUDONYM_DIGITS);
}

/** SHA-256 (FIPS 180-4) of a text, in hexadecimal. */
export function digestOf(text: string): string {
  return createHash('sha256').update(text, 'utf8').digest('hex');
}

/** The version that the exchange gives a record that follows another one. */
export function versionOf(basedOn: string | null, record: PooledRecord): string {
  return digestOf(versionText(basedOn, record));
}

/** What the service keeps in place of a withdrawn patient's pseudonym. */
export function tombstoneOf(member: string, pseudonym: string): string {
  return digestOf(tombstoneText(member, pseudonym));
}
