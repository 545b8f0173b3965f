import type { PooledRecord, Pseudonym } from '../contribution/pooled-record';
import { canonicalJson } from './canonical-json';

/*
 * What is put into SHA-256 (FIPS 180-4) on both sides. The digest itself is left to the caller, since it is taken from
 * the system's cryptography.
 */

/**
 * The text whose SHA-256 is a record's version. It holds the version before it, so that a record that is changed and
 * changed back gets a version of its own, and an old one that arrives late cannot be taken for the newest.
 */
export function versionText(basedOn: string | null, record: PooledRecord): string {
  return versionTextOf(basedOn, canonicalJson(record));
}

/** The same, of a record that is canonical JSON already. */
export function versionTextOf(basedOn: string | null, recordText: string): string {
  return `{"basedOn":${JSON.stringify(basedOn)},"record":${recordText}}`;
}

/**
 * The text whose SHA-256 stays at the service of a withdrawn patient, in place of the pseudonym.
 * `member` is the clinic's id at the service.
 */
export function tombstoneText(member: string, pseudonym: Pseudonym): string {
  return canonicalJson({ member, withdrawn: pseudonym });
}
