import { ageAtVisit, visitOfKind, yearsBetween, yearsSinceActiveEnd, type PatientHistory } from '../records';
import type { OutcomeQuestion } from './question';

/** How long a treated patient could have been followed by the day of the question, and was. */
export interface FollowedUntil {
  readonly code: string;
  /** Years from the end of active treatment to the day of the question; null where either is not known. */
  readonly horizon: number | null;
  /** Years to the latest follow-up visit of any kind, measured or not; null where there was none. */
  readonly lastSeen: number | null;
  /** Age at the end of active treatment, years; null where it is not known. */
  readonly ageAtEnd: number | null;
}

/** How long each patient could have been followed, and was. */
export function followedUntil(
  histories: readonly PatientHistory[],
  question: OutcomeQuestion,
): FollowedUntil[] {
  return histories.map((history) => ({
    code: history.patient.code,
    horizon: horizonOf(history, question),
    lastSeen: lastSeen(history),
    ageAtEnd: ageAtEnd(history),
  }));
}

function horizonOf(history: PatientHistory, { asOf }: OutcomeQuestion): number | null {
  const end = history.patient.activeEnd ?? visitOfKind(history, 'end_of_active')?.date ?? null;
  return end === null || asOf === null ? null : yearsBetween(end, asOf);
}

function lastSeen(history: PatientHistory): number | null {
  return history.visits.reduce<number | null>((latest, visit) => {
    const years = visit.kind === 'follow_up' ? yearsSinceActiveEnd(history, visit) : null;
    return years === null || years <= 0 ? latest : Math.max(latest ?? 0, years);
  }, null);
}

function ageAtEnd(history: PatientHistory): number | null {
  const end = visitOfKind(history, 'end_of_active');
  return end === undefined ? null : ageAtVisit(history.patient, end);
}
