import {
  canonicalRecord,
  clinicContribution,
  recordChanges,
  type ClinicContribution,
  type HeldVersion,
  type PooledRecord,
  type RecordChanges,
  type StudyDefinition,
} from '@longhold/core/contribution';
import { canonicalJson } from '@longhold/core/exchange';
import type { IsoDate, Patient, Study } from '@longhold/core/records';
import type { PoolingBook } from '../store';
import { digestOf, pseudonymOf, versionOf } from './pseudonyms';

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

/** From what it is made. */
export interface OutgoingGiven {
  readonly study: Study;
  readonly today: IsoDate;
  readonly secret: string;
  readonly book: PoolingBook;
}

/**
 * What this clinic would send now under the definition that is known; null before there is one. Patients who were
 * withdrawn count as without consent: they never come back.
 */
export function outgoing(given: OutgoingGiven): Outgoing | null {
  const { study, secret, book } = given;
  const version = book.link.get('link')?.definition ?? null;
  const definition = version === null ? undefined : book.definition.get(String(version));
  if (version === null || definition === undefined) return null;
  const codes = new Map(study.map(({ patient }) => [pseudonymOf(secret, patient.code), patient.code]));
  const contribution = contributionUnder(given, definition);
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

function contributionUnder(
  { study, today, secret, book }: OutgoingGiven,
  definition: StudyDefinition,
): ClinicContribution {
  const stillIn = study.map((history) =>
    book.withdrawal.has(pseudonymOf(secret, history.patient.code))
      ? { ...history, patient: { ...history.patient, consentPooling: false } }
      : history,
  );
  // A pseudonym is asked for more than once; a digest of each code is enough.
  return clinicContribution(stillIn, definition, (code) => pseudonymOf(secret, code), {
    asOf: today,
    filmFactor: null,
  });
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
export function sameAsHere(given: OutgoingGiven): string[] {
  const recordUnder = earlierRecords(given);
  return [...given.book.head].flatMap(([pseudonym, { own, definition, record }]) => {
    const here = own ? null : recordUnder(definition, pseudonym);
    return here !== null && canonicalRecord(here) === canonicalRecord(record) ? [pseudonym] : [];
  });
}

/** This store's records as earlier definitions would make them, made once for each definition that is asked for. */
function earlierRecords(
  given: OutgoingGiven,
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
}

/** Patients without consent of whom something was sent or waits to be sent, and who are not withdrawn yet. */
export function consentsGone(study: Study, secret: string, book: PoolingBook): ConsentGone[] {
  const concerned = new Set([...book.head.keys(), ...book.before.keys()]);
  for (const { items } of book.outbox.values()) {
    for (const item of items) if (item.kind === 'record') concerned.add(item.record.pseudonym);
  }
  return study.flatMap(({ patient }) => {
    const reason = reasonGone(patient);
    if (reason === null) return [];
    const pseudonym = pseudonymOf(secret, patient.code);
    const isTold = book.withdrawal.has(pseudonym);
    return concerned.has(pseudonym) && !isTold ? [{ pseudonym, code: patient.code, reason }] : [];
  });
}

function reasonGone({ group, consentPooling, consentFollowUp }: Patient): ConsentGone['reason'] | null {
  if (!consentPooling) return 'no-pooling-consent';
  return group === 'treated' && !consentFollowUp ? 'no-follow-up-consent' : null;
}
