import {
  canonicalRecord,
  recordChanges,
  type ClinicContribution,
  type HeldVersion,
  type PooledRecord,
  type RecordChanges,
  type StudyDefinition,
} from '@longhold/core/contribution';
import { canonicalJson } from '@longhold/core/exchange';
import type { Patient, Study } from '@longhold/core/records';
import type { PoolingBook, Sending } from '../store';
import {
  contributionUnder,
  definitionInForce,
  LatestContribution,
  type ContributionGiven,
} from './latest-contribution';
import { digestOf, pseudonymOf, versionOf } from './pseudonyms';
import { whoIsInPool } from './who-is-in-pool';

/** What this clinic would send now. */
export interface Outgoing {
  /** Names exactly what would leave: records and sheet under a definition. */
  readonly digest: string;
  readonly version: number;
  readonly definition: StudyDefinition;
  readonly contribution: ClinicContribution;
  readonly changes: RecordChanges;
  readonly sheetIsNew: boolean;
  /** The clinic's own code of every patient of the store, by pseudonym. */
  readonly codes: ReadonlyMap<string, string>;
}

/** What this clinic would send now under the definition that is known; null before there is one. */
export function outgoing(given: ContributionGiven, latest = new LatestContribution()): Outgoing | null {
  const { study, secret, book } = given;
  const inForce = definitionInForce(book);
  if (inForce === null) return null;
  const { version, definition } = inForce;
  const codes = new Map(study.map(({ patient }) => [pseudonymOf(secret, patient.code), patient.code]));
  const contribution = latest.of(given, definition);
  const changes = recordChanges(contribution, heldVersions(book), {
    definition: version,
    digestOf,
    versionOf,
    underDefinition: earlierRecords(given),
  });
  const sheet = { definition: version, sheet: contribution.sheet };
  const items = [...changes.fresh, ...changes.changed].map((item) => item.version);
  return {
    digest: digestOf(canonicalJson({ ...sheet, items })),
    version,
    definition,
    contribution,
    changes,
    sheetIsNew: canonicalJson(book.sheet.get('sent') ?? null) !== canonicalJson(sheet),
    codes,
  };
}

/** What the service holds of this clinic, as far as is known. */
export function heldVersions(book: PoolingBook): HeldVersion[] {
  return [...book.head].map(([pseudonym, { version, definition, record, own, keptAgainst }]) => {
    return { pseudonym, version, definition, record, own, keptAgainst };
  });
}

/**
 * Versions of another desktop that are the same as this store's record: what is changed here from now on goes on from
 * them.
 */
export function sameAsHere(given: ContributionGiven): VersionHere[] {
  const recordUnder = earlierRecords(given);
  return [...given.book.head].flatMap(([pseudonym, { version, own, definition, record }]) => {
    const here = own ? null : recordUnder(definition, pseudonym);
    const isSame = here !== null && canonicalRecord(here) === canonicalRecord(record);
    return isSame ? [{ pseudonym, version }] : [];
  });
}

/** A version at the service that says of a patient what this store says. */
export interface VersionHere {
  readonly pseudonym: string;
  readonly version: string;
}

/** This store's records as earlier definitions would make them, made once for each definition that is asked for. */
function earlierRecords(
  given: ContributionGiven,
): (definition: number, pseudonym: string) => PooledRecord | null {
  const made = new Map<number, ReadonlyMap<string, PooledRecord>>();
  return (version, pseudonym) => {
    const definition = given.book.definition.get(String(version));
    if (definition === undefined) return null;
    const records =
      made.get(version) ??
      new Map(
        contributionUnder(given, definition).records.map((record) => [record.pseudonym, record] as const),
      );
    made.set(version, records);
    return records.get(pseudonym) ?? null;
  };
}

/** A patient who takes part in a pool no more. */
export interface ConsentGone {
  readonly pseudonym: string;
  readonly code: string;
  readonly reason: 'no-pooling-consent' | 'no-follow-up-consent';
  readonly from: Sending;
}

/** Patients without consent of whom something was sent or waits to be sent, and who are not withdrawn yet. */
export function consentsGone(study: Study, secret: string, book: PoolingBook): ConsentGone[] {
  const inPool = whoIsInPool(book);
  return study.flatMap(({ patient }) => {
    const reason = reasonGone(patient);
    if (reason === null) return [];
    const pseudonym = pseudonymOf(secret, patient.code);
    if (book.withdrawal.has(pseudonym)) return [];
    const from = inPool.records.has(pseudonym) ? 'records' : 'statistics';
    return inPool[from].has(pseudonym) ? [{ pseudonym, code: patient.code, reason, from }] : [];
  });
}

function reasonGone({ group, consentPooling, consentFollowUp }: Patient): ConsentGone['reason'] | null {
  if (!consentPooling) return 'no-pooling-consent';
  return group === 'treated' && !consentFollowUp ? 'no-follow-up-consent' : null;
}
