import type { Measurement, PatientEvent, Visit } from '../records/visit';

/**
 * What makes two visits of one patient the same visit: start and end of active treatment happen once; a
 * follow-up is known by its date, or by its age where it has no date.
 */
export function visitKey(visit: Pick<Visit, 'kind' | 'date' | 'ageYears'>): string {
  if (visit.kind !== 'follow_up') return visit.kind;
  return visit.date ?? `age ${visit.ageYears}`;
}

/** What makes two readings at one visit the same reading: measure, replicate, examiner and film. */
export function measurementKey(
  measurement: Pick<Measurement, 'measure' | 'replicate' | 'examiner' | 'film'>,
): string {
  return `${measurement.measure}|${measurement.replicate}|${measurement.examiner}|${measurement.film}`;
}

/** What makes two events of one patient the same event: the day and what happened. */
export function eventKey(event: PatientEvent): string {
  return `${event.date} ${event.event}`;
}
