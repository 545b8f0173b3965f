import {
  ageAtVisit,
  DAYS_PER_YEAR,
  daysBetween,
  visitOfKind,
  yearsBetween,
  yearsSinceActiveEnd,
  type IsoDate,
  type PatientHistory,
  type Visit,
} from '../records';

/** From where a patient's days are counted. */
export interface TimeZero {
  /** Age at time zero, years; null where no age is known. */
  readonly age: number | null;
  /** Whole days from time zero to a visit, negative before it; null where the visit cannot be placed in time. */
  readonly dayOf: (visit: Visit) => number | null;
  /** The calendar date of time zero; null where only ages are known. It never leaves the clinic. */
  readonly date: IsoDate | null;
}

/**
 * Time zero of a treated patient: the end of active treatment, as `yearsSinceActiveEnd` counts from it.
 *
 * @returns null where the end is not recorded, neither as a date nor as a visit
 */
export function endOfActiveTreatment(history: PatientHistory): TimeZero | null {
  const endVisit = visitOfKind(history, 'end_of_active');
  if (history.patient.activeEnd === null && endVisit === undefined) return null;
  const date = history.patient.activeEnd ?? endVisit?.date ?? null;
  return {
    age: ageAtEnd(history, date),
    date,
    dayOf: (visit) => wholeDays(yearsSinceActiveEnd(history, visit)),
  };
}

/** Time zero of an untreated child: the first visit of known age; null where there is none. */
export function firstVisit({ patient, visits }: PatientHistory): TimeZero | null {
  const ages = visits.flatMap((visit) => ageAtVisit(patient, visit) ?? []);
  if (ages.length === 0) return null;
  const age = Math.min(...ages);
  return {
    age,
    date: null,
    dayOf: (visit) => {
      const then = ageAtVisit(patient, visit);
      return wholeDays(then === null ? null : then - age);
    },
  };
}

/** Whole days from time zero to a date; null where time zero has no date. */
export function dayOfDate({ date }: TimeZero, then: IsoDate): number | null {
  return date === null ? null : daysBetween(date, then);
}

/** Years since time zero at which a treated patient's records are read; null where time zero has no date. */
export function yearsRead({ date }: TimeZero, asOf: IsoDate | null): number | null {
  return date === null || asOf === null ? null : yearsBetween(date, asOf);
}

/** Days between two dates come back exactly: years are whole days divided by the length of a year. */
function wholeDays(years: number | null): number | null {
  return years === null ? null : Math.round(years * DAYS_PER_YEAR);
}

/** From the birth date; else from the visit of known age that lies nearest to the end, the earlier one of two. */
function ageAtEnd(history: PatientHistory, date: IsoDate | null): number | null {
  const { patient } = history;
  if (patient.birthDate !== null && date !== null) return yearsBetween(patient.birthDate, date);
  let nearest: { readonly years: number; readonly age: number } | null = null;
  for (const visit of history.visits) {
    const years = yearsSinceActiveEnd(history, visit);
    const age = ageAtVisit(patient, visit);
    if (years === null || age === null) continue;
    const distance = Math.abs(years) - (nearest === null ? Infinity : Math.abs(nearest.years));
    if (distance < 0 || (distance === 0 && years < (nearest?.years ?? 0))) nearest = { years, age };
  }
  return nearest === null ? null : nearest.age - nearest.years;
}
