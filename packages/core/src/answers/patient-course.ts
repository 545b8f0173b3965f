import { READ_ONCE } from '../agreement';
import { BY_AGE, expectedSize, referenceCovers } from '../growth';
import { agedValues, yearsSinceActiveEnd } from '../records';
import { adjustedGain, type CoursePoint } from '../retention';
import { clockShift } from './clock-shift';
import type { PreparedQuestion } from './prepared-question';

/** A child's expected course from the start value on, with the reach of measurement and growth. Ages in years. */
export interface ExpectedCourse {
  readonly age: readonly number[];
  readonly expected: readonly number[];
  readonly lower: readonly number[];
  readonly upper: readonly number[];
}

const STEPS = 60;

/**
 * The course that one patient would be expected to take without treatment, from the start value to the latest
 * visit, with two-sided limits for a single new reading.
 *
 * @returns null where there is no start value or the reference does not cover the patient
 */
export function patientCourse(prepared: PreparedQuestion, code: string): ExpectedCourse | null {
  const { study, question, measure, yardstick } = prepared;
  const history = study.find(({ patient }) => patient.code === code);
  if (history === undefined) return null;
  const values = agedValues(history, measure.code);
  const first = values.find(({ visit }) => visit.kind === 'start');
  const last = values[values.length - 1];
  if (first === undefined || last === undefined || last.age <= first.age) return null;

  const { sex } = history.patient;
  const shift = clockShift(history, question.growthClock, yardstick.reference) ?? BY_AGE;
  const start: CoursePoint = {
    ...first,
    growthAge: first.age + shift.years,
    clockSd: shift.sd,
    kind: 'start',
    date: first.visit.date,
    years: yearsSinceActiveEnd(history, first.visit),
  };
  const course = {
    age: [] as number[],
    expected: [] as number[],
    lower: [] as number[],
    upper: [] as number[],
  };
  for (let step = 0; step <= STEPS; step++) {
    const age = start.age + (step / STEPS) * (last.age - start.age);
    const growthAge = age + shift.years;
    if (referenceCovers(yardstick.reference, sex, growthAge) === 'outside') break;
    const expected =
      start.value +
      expectedSize(yardstick.reference, sex, growthAge) -
      expectedSize(yardstick.reference, sex, start.growthAge);
    // The band is that of an adjusted gain of zero: a value outside it differs from expected growth beyond doubt.
    const now: CoursePoint = {
      kind: 'follow_up',
      date: null,
      age,
      growthAge,
      clockSd: shift.sd,
      years: null,
      value: expected,
      ...READ_ONCE,
    };
    const { limits } = adjustedGain(start, now, sex, yardstick, question.level);
    const reach = (limits.upper - limits.lower) / 2;
    course.age.push(age);
    course.expected.push(expected);
    course.lower.push(expected - reach);
    course.upper.push(expected + reach);
  }
  return course.age.length < 2 ? null : course;
}
