import { createHmac } from 'node:crypto';
import type { PatientHistory } from '@longhold/core/records';

/**
 * Keyed digests (HMAC-SHA-256) over what the store holds. The cipher of the file hides the pages but does not
 * notice when they are altered; the seals do. A seal is 64 hexadecimal digits.
 */
export class Sealer {
  readonly #key: Buffer;

  constructor(sealKey: Buffer) {
    this.#key = sealKey;
  }

  /** The seal of a patient; the order of visits, readings and events does not matter. */
  patient(history: PatientHistory): string {
    return this.#seal('patient', canonicalText(history));
  }

  /** The seal of a growth table, given its content as the store holds it. */
  growthTable(content: string): string {
    return this.#seal('growth table', content);
  }

  /** The seal of a document of pooling. */
  pooling(kind: string, key: string, content: string): string {
    return this.#seal('pooling', JSON.stringify([kind, key, content]));
  }

  setting(key: string, value: string): string {
    return this.#seal('setting', JSON.stringify([key, value]));
  }

  /** The seal of an audit entry, given that of the entry before it ('' for the first). */
  auditEntry(previousSeal: string, fields: readonly (string | number | null)[]): string {
    return this.#seal('audit', JSON.stringify([previousSeal, fields]));
  }

  #seal(kind: string, text: string): string {
    return createHmac('sha256', this.#key).update(kind).update('\n').update(text).digest('hex');
  }
}

const SEAL_RANGE = 1n << 256n;

/** The empty sum of seals. */
export const NO_SEALS = '0'.repeat(64);

/**
 * The sum (modulo 2^256) of many seals, kept up to date by adding and taking away single ones, so that a change of
 * one patient need not read all others. It tells when a whole patient is missing or came back.
 */
export function adjustSealSum(sum: string, added: Iterable<string>, removed: Iterable<string>): string {
  let total = BigInt(`0x${sum}`);
  for (const seal of added) total += BigInt(`0x${seal}`);
  for (const seal of removed) total -= BigInt(`0x${seal}`);
  return (((total % SEAL_RANGE) + SEAL_RANGE) % SEAL_RANGE).toString(16).padStart(64, '0');
}

/**
 * One text for one meaning: fixed order of fields, sorted lists. A first film and an unknown factor leave nothing in
 * the text, so that patients sealed before films had numbers and factors keep their seals.
 */
function canonicalText({ patient, visits, events }: PatientHistory): string {
  const person = [
    patient.code,
    patient.sex,
    patient.birthDate,
    patient.group,
    patient.protocol,
    patient.expansion,
    patient.maturityStart,
    patient.treatmentStart,
    patient.activeEnd,
    patient.consentFollowUp,
    patient.consentPooling,
  ];
  const seen = visits.map((visit) => {
    const readings = visit.measurements.map((m) =>
      JSON.stringify([
        m.measure,
        m.value,
        m.unit,
        m.replicate,
        m.examiner,
        ...(m.film === 1 ? [] : [m.film]),
      ]),
    );
    const factor =
      visit.filmFactor === null && visit.filmFactorEvidence === null
        ? []
        : [visit.filmFactor, visit.filmFactorEvidence];
    return JSON.stringify([visit.kind, visit.date, visit.ageYears, readings.sort(), ...factor]);
  });
  const happened = events.map(({ date, event }) => JSON.stringify([date, event]));
  return JSON.stringify([person, seen.sort(), happened.sort()]);
}
