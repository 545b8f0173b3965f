import {
  clinicContribution,
  type ClinicContribution,
  type StudyDefinition,
} from '@longhold/core/contribution';
import { canonicalJson } from '@longhold/core/exchange';
import type { IsoDate, Study } from '@longhold/core/records';
import type { PoolingBook } from '../store';
import { digestOf, pseudonymOf } from './pseudonyms';

/** From what a clinic's contribution is made. */
export interface ContributionGiven {
  readonly study: Study;
  readonly today: IsoDate;
  readonly secret: string;
  readonly book: PoolingBook;
}

/**
 * The contribution that was made last, so that it is not made anew where only what the service holds has changed: for
 * ten thousand patients it takes seconds.
 */
export class LatestContribution {
  #made: {
    readonly key: string;
    readonly study: Study;
    readonly contribution: ClinicContribution;
  } | null = null;

  /** Makes it under the definition in force, if it is another than the last one. */
  make(given: ContributionGiven): void {
    const inForce = definitionInForce(given.book);
    if (inForce !== null) this.of(given, inForce.definition);
  }

  of(given: ContributionGiven, definition: StudyDefinition): ClinicContribution {
    const { study, today, secret, book } = given;
    const key = digestOf(
      canonicalJson({ today, secret, definition, withdrawn: [...book.withdrawal.keys()] }),
    );
    if (this.#made?.key === key && this.#made.study === study) return this.#made.contribution;
    const contribution = contributionUnder(given, definition);
    this.#made = { key, study, contribution };
    return contribution;
  }
}

/** What a clinic may send under a definition. Patients who were withdrawn count as without consent: they never come back. */
export function contributionUnder(
  { study, today, secret, book }: ContributionGiven,
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

/** The definition that is known to be in force, with its version; null before there is one. */
export function definitionInForce(
  book: PoolingBook,
): { readonly version: number; readonly definition: StudyDefinition } | null {
  const version = book.link.get('link')?.definition ?? null;
  const definition = version === null ? undefined : book.definition.get(String(version));
  return version === null || definition === undefined ? null : { version, definition };
}
