import { z } from 'zod';
import { yearsBetween, type IsoDate } from './calendar';
import { patientSchema, type Patient } from './patient';
import { patientEventSchema, visitSchema, type Visit } from './visit';

/** All that is known of one patient. Visits and events are in no promised order. */
export const patientHistorySchema = z.strictObject({
  patient: patientSchema,
  visits: z.array(visitSchema),
  events: z.array(patientEventSchema),
});
export type PatientHistory = z.infer<typeof patientHistorySchema>;

/** Every patient of one store or one set of files. Codes are unique. */
export type Study = readonly PatientHistory[];

/**
 * Age at a visit in years of 365.25 days, from the birth date where both dates are known, else as recorded.
 * Returns null when neither is possible.
 */
export function ageAtVisit(patient: Patient, visit: Visit): number | null {
  if (patient.birthDate !== null && visit.date !== null) return yearsBetween(patient.birthDate, visit.date);
  return visit.ageYears;
}

/** The visit at which the records of that kind were taken; start and end of active treatment occur once. */
export function visitOfKind(history: PatientHistory, kind: Visit['kind']): Visit | undefined {
  return history.visits.find((visit) => visit.kind === kind);
}

/**
 * Years from the end of active treatment to a visit; negative before it. Counted from the recorded end date;
 * where there is none (ages only), from the age at the visit that ended active treatment.
 * Returns null when neither is known.
 */
export function yearsSinceActiveEnd(history: PatientHistory, visit: Visit): number | null {
  const { patient } = history;
  if (patient.activeEnd !== null && visit.date !== null) return yearsBetween(patient.activeEnd, visit.date);
  const endVisit = visitOfKind(history, 'end_of_active');
  if (endVisit === undefined) return null;
  if (endVisit.date !== null && visit.date !== null) return yearsBetween(endVisit.date, visit.date);
  const ageThen = ageAtVisit(patient, endVisit);
  const ageNow = ageAtVisit(patient, visit);
  return ageThen === null || ageNow === null ? null : ageNow - ageThen;
}

/** The latest calendar date found anywhere in a study: the day up to which it is known. Null if it has none. */
export function latestDate(study: Study): IsoDate | null {
  let latest: IsoDate | null = null;
  const consider = (date: IsoDate | null): void => {
    if (date !== null && (latest === null || date > latest)) latest = date;
  };
  for (const { patient, visits, events } of study) {
    consider(patient.treatmentStart);
    consider(patient.activeEnd);
    for (const visit of visits) consider(visit.date);
    for (const event of events) consider(event.date);
  }
  return latest;
}
