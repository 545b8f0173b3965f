import { canonicalJson } from '@longhold/core/exchange';
import type { Study } from '@longhold/core/records';
import { HostFailure } from '../failure';
import type { PoolingBook } from '../store';
import { consentsGone, type ConsentGone } from './outgoing';
import { digestOf } from './pseudonyms';
import { secretOf } from './secret-of';

/**
 * So many patients whose consent is gone are withdrawn without asking. More at once look like an import of wrong files,
 * and a withdrawal is for good, so they wait for a person. One or two never wait: whoever takes consent back has a right
 * to be out at once.
 */
export const MOST_WITHDRAWN_UNASKED = 2;

/** Patients whose consent is gone, too many at once to be withdrawn unasked. */
export interface WaitingWithdrawals {
  /** Names exactly these patients. */
  readonly digest: string;
  readonly patients: readonly ConsentGone[];
}

/**
 * Patients who are to be withdrawn without asking because their consent is gone: few of whom there are records, and all
 * who are in statistics only.
 */
export function withdrawnUnasked(study: Study, book: PoolingBook): readonly ConsentGone[] {
  const gone = goneOf(study, book);
  return waitingWithdrawals(study, book) === null ? gone : gone.filter(({ from }) => from === 'statistics');
}

/** Those that wait for a person's confirmation; null where none do. Until then no record leaves. */
export function waitingWithdrawals(study: Study, book: PoolingBook): WaitingWithdrawals | null {
  const patients = goneOf(study, book).filter(({ from }) => from === 'records');
  if (patients.length <= MOST_WITHDRAWN_UNASKED) return null;
  return { digest: digestOf(canonicalJson(patients.map(({ pseudonym }) => pseudonym).sort())), patients };
}

/** @throws HostFailure withdrawals-wait where withdrawals wait for a person's confirmation */
export function requireNoneWaiting(study: Study, book: PoolingBook): void {
  const waiting = waitingWithdrawals(study, book);
  if (waiting === null) return;
  throw new HostFailure(
    'withdrawals-wait',
    `The consent of ${waiting.patients.length} patients in the pool is gone at once. Nothing is sent until you confirm that they are withdrawn for good, or import the right consents.`,
  );
}

function goneOf(study: Study, book: PoolingBook): readonly ConsentGone[] {
  const secret = secretOf(book);
  return secret === null ? [] : consentsGone(study, secret, book);
}
