import { curveNumbers, type CurveNumbers } from '../growth';
import type { PatientHistory } from '../records';
import { followedUntil, type FollowedUntil } from './followed-until';
import { gaveWayReadings, type GaveWayReading } from './gave-way-readings';
import type { PreparedQuestion } from './prepared-question';

/** What an answer rests on beside its patients' outcomes and gains, so that a reader can compute it again. */
export interface AnswerRows {
  /** The growth curve; null where expected growth is not needed or not known. */
  readonly curve: CurveNumbers | null;
  /** One entry for each patient of the answer, in the same order. */
  readonly followed: readonly FollowedUntil[];
  readonly gaveWay: readonly GaveWayReading[];
}

/**
 * The rows of an answer.
 * @param treated the patients of the answer
 * @param year up to which it is told what gave way
 */
export function answerRows(
  treated: readonly PatientHistory[],
  year: number | null,
  { question, reference }: PreparedQuestion,
): AnswerRows {
  return {
    curve: curveNumbers(reference),
    followed: followedUntil(treated, question),
    gaveWay: gaveWayReadings(treated, year),
  };
}
