import { BY_AGE, referenceCovers, type ClockShift } from '../growth';
import {
  ageAtVisit,
  agedValues,
  lacksFilmFactor,
  measuredMean,
  visitOfKind,
  yearsBetween,
  yearsSinceActiveEnd,
  type AgedValue,
  type PatientHistory,
} from '../records';
import type { CoursePoint, Yardstick } from '../retention';
import type { UnsizedVisit, VisitOutcome } from './answer';
import { clockShift } from './clock-shift';
import type { OutcomeQuestion } from './question';

/** A point of a course with what was read on the film. */
export type ReadPoint = CoursePoint & Pick<VisitOutcome, 'measured' | 'filmFactor'>;

/** What one patient's records say before any judgement: the points of the measure, and what is missing. */
export interface Course {
  readonly history: PatientHistory;
  readonly points: readonly ReadPoint[];
  readonly start: ReadPoint | undefined;
  readonly end: ReadPoint | undefined;
  /** Follow-up visits after the end of active treatment that can still speak of its gain. */
  readonly followUp: readonly ReadPoint[];
  readonly unsized: readonly UnsizedVisit[];
  readonly treatedAgainAt: number | null;
}

/** Reads one patient's course of the question's measure. */
export function readCourse(history: PatientHistory, question: OutcomeQuestion, yardstick: Yardstick): Course {
  const shift = clockShift(history, question.growthClock, yardstick.reference) ?? BY_AGE;
  const points = agedValues(history, question.measure).map((value) => toPoint(history, value, shift));
  const treatedAgainAt = yearsToTreatedAgain(history);
  return {
    history,
    points,
    start: points.find(({ kind }) => kind === 'start'),
    end: points.find(({ kind }) => kind === 'end_of_active'),
    followUp: points.filter(
      ({ kind, years }) =>
        kind === 'follow_up' &&
        years !== null &&
        years > 0 &&
        (treatedAgainAt === null || years <= treatedAgainAt),
    ),
    unsized: unsizedVisits(history, question.measure),
    treatedAgainAt,
  };
}

function unsizedVisits(history: PatientHistory, measureCode: string): UnsizedVisit[] {
  return history.visits.flatMap((visit) => {
    const mean = lacksFilmFactor(visit, measureCode) ? measuredMean(visit, measureCode) : null;
    if (mean === null) return [];
    const { kind, date } = visit;
    return [{ kind, date, age: ageAtVisit(history.patient, visit), measured: mean.measured }];
  });
}

/** Whether a length was read at a visit of that kind, but on a film whose factor is not known. */
export function isUnsized({ unsized }: Course, kind: UnsizedVisit['kind']): boolean {
  return unsized.some((visit) => visit.kind === kind);
}

function toPoint(
  history: PatientHistory,
  { age, value, measured, filmFactor, readings, films, retracingShare, visit }: AgedValue,
  shift: ClockShift,
): ReadPoint {
  return {
    kind: visit.kind,
    date: visit.date,
    age,
    growthAge: age + shift.years,
    clockSd: shift.sd,
    years: yearsSinceActiveEnd(history, visit),
    value,
    readings,
    films,
    retracingShare,
    measured,
    filmFactor,
  };
}

/** Years since the end of active treatment of the first second treatment; null if none, or if it cannot be placed. */
function yearsToTreatedAgain(history: PatientHistory): number | null {
  const end = history.patient.activeEnd ?? visitOfKind(history, 'end_of_active')?.date ?? null;
  const dates = history.events.filter(({ event }) => event === 'treated_again').map(({ date }) => date);
  const first = dates.sort()[0];
  return end === null || first === undefined ? null : yearsBetween(end, first);
}

/** Whether the reference speaks for all of the points. */
export function covered(course: Course, { reference }: Yardstick, points: readonly CoursePoint[]): boolean {
  return points.every(
    ({ growthAge }) => referenceCovers(reference, course.history.patient.sex, growthAge) !== 'outside',
  );
}

/** The follow-up visits for which the reference speaks. */
export function usableFollowUp(course: Course, yardstick: Yardstick): CoursePoint[] {
  return course.followUp.filter((point) => covered(course, yardstick, [point]));
}
