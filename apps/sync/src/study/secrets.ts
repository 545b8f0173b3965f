import { hash, randomBytes, randomInt } from 'node:crypto';
import { tombstoneText } from '@longhold/core/exchange';

/** Digits and capitals without 0, O, 1 and I: 32 signs, so 24 of them are 120 random bits. */
const SIGNS = '23456789ABCDEFGHJKLMNPQRSTUVWXYZ';
const PART = 6;
const PARTS = 4;

/** SHA-256 (FIPS 180-4) of a text, in hexadecimal. */
export function digestOf(text: string): string {
  return hash('sha256', text, 'hex');
}

/** The digest that stays of a withdrawn patient. */
export function tombstoneDigest(member: string, pseudonym: string): string {
  return digestOf(tombstoneText(member, pseudonym));
}

/** 32 random bytes as text. Only its digest is kept: nobody can guess 256 random bits, so a slow digest adds nothing. */
export function newToken(): string {
  return randomBytes(32).toString('base64url');
}

/** A code to be read out or typed, in four parts of six signs. */
export function newEnrolmentCode(): string {
  const part = (): string =>
    Array.from({ length: PART }, () => SIGNS.charAt(randomInt(SIGNS.length))).join('');
  return Array.from({ length: PARTS }, part).join('-');
}
