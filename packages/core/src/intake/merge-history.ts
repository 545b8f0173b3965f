import type { PatientHistory } from '../records/history';
import type { Patient } from '../records/patient';
import type { Measurement, PatientEvent, Visit } from '../records/visit';
import type { ChangeCounts, ChangeTally } from './changes';
import { eventKey, measurementKey, visitKey } from './identity';

/**
 * One patient's history with an import laid over it; `before` is null for a new patient. What the import does
 * not mention stays. Adds to `counts` what each record of the import amounts to; changes neither history.
 */
export function mergeHistory(
  before: PatientHistory | null,
  incoming: PatientHistory,
  counts: ChangeCounts,
): PatientHistory {
  tally(counts.patients, before?.patient, incoming.patient, samePatient);
  return {
    patient: incoming.patient,
    visits: mergeVisits(before?.visits ?? [], incoming.visits, counts),
    events: mergeEvents(before?.events ?? [], incoming.events, counts),
  };
}

function tally<T>(counts: ChangeTally, before: T | undefined, after: T, same: (a: T, b: T) => boolean): void {
  if (before === undefined) counts.added += 1;
  else if (same(before, after)) counts.unchanged += 1;
  else counts.changed += 1;
}

function samePatient(one: Patient, other: Patient): boolean {
  const fields = Object.keys(one) as (keyof Patient)[];
  return fields.every((field) => one[field] === other[field]);
}

function mergeVisits(before: readonly Visit[], incoming: readonly Visit[], counts: ChangeCounts): Visit[] {
  const merged = new Map(before.map((visit) => [visitKey(visit), visit]));
  for (const visit of incoming) {
    const key = visitKey(visit);
    const known = merged.get(key);
    // What the files leave out is not removed: they may give a date where the store has an age and a factor too.
    const after: Visit = {
      kind: visit.kind,
      date: visit.date ?? known?.date ?? null,
      ageYears: visit.ageYears ?? known?.ageYears ?? null,
      ...mergeFactor(known, visit),
      measurements: mergeMeasurements(known?.measurements ?? [], visit.measurements, counts),
    };
    tally(counts.visits, known, after, sameVisit);
    merged.set(key, after);
  }
  return [...merged.values()];
}

function sameVisit(one: Visit, other: Visit): boolean {
  return (
    one.date === other.date &&
    one.ageYears === other.ageYears &&
    one.filmFactor === other.filmFactor &&
    one.filmFactorEvidence === other.filmFactorEvidence
  );
}

/** A new factor brings its own evidence; the old evidence would not be evidence of it. */
function mergeFactor(
  known: Visit | undefined,
  { filmFactor, filmFactorEvidence }: Visit,
): Pick<Visit, 'filmFactor' | 'filmFactorEvidence'> {
  if (known === undefined || (filmFactor !== null && filmFactor !== known.filmFactor))
    return { filmFactor, filmFactorEvidence };
  return { filmFactor: known.filmFactor, filmFactorEvidence: filmFactorEvidence ?? known.filmFactorEvidence };
}

function mergeMeasurements(
  before: readonly Measurement[],
  incoming: readonly Measurement[],
  counts: ChangeCounts,
): Measurement[] {
  const merged = new Map(before.map((measurement) => [measurementKey(measurement), measurement]));
  for (const measurement of incoming) {
    const key = measurementKey(measurement);
    const same = (a: Measurement, b: Measurement): boolean => a.value === b.value && a.unit === b.unit;
    tally(counts.measurements, merged.get(key), measurement, same);
    merged.set(key, measurement);
  }
  return [...merged.values()];
}

/** An event is its day and what happened, so it is either there already or new; it cannot change. */
function mergeEvents(
  before: readonly PatientEvent[],
  incoming: readonly PatientEvent[],
  counts: ChangeCounts,
): PatientEvent[] {
  const merged = new Map(before.map((event) => [eventKey(event), event]));
  for (const event of incoming) {
    const key = eventKey(event);
    tally(counts.events, merged.get(key), event, () => true);
    merged.set(key, event);
  }
  return [...merged.values()];
}
