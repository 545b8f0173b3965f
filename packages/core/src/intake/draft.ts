import type { PatientHistory, Study } from '../records/history';
import type { Patient } from '../records/patient';
import type { PatientEvent, Visit } from '../records/visit';

/** A visit being put together from rows; `row` is the first of them. */
export interface VisitDraft {
  readonly row: number;
  readonly visit: Visit;
  /** Row of each reading, by its key. */
  readonly readings: Map<string, number>;
}

/** A patient being put together from up to three files, with the rows everything came from. */
export interface PatientDraft {
  readonly patient: Patient;
  /** Row in patients.csv; null when the patient is known from the store only. */
  readonly row: number | null;
  readonly visits: Map<string, VisitDraft>;
  readonly events: Map<string, { readonly row: number; readonly event: PatientEvent }>;
}

/** The patients that the rows of an import may speak of. */
export interface Roster {
  /** Patients of this import, in the order of their first row. */
  readonly drafts: Map<string, PatientDraft>;
  /** Codes whose row in patients.csv is faulty: named there once, not again at each of their measurements. */
  readonly faulty: Set<string>;
  /** Patients already in the store. */
  readonly stored: ReadonlyMap<string, PatientHistory>;
  /** False when patients.csv could not be read to its end, so that a code not found says nothing. */
  complete: boolean;
}

/** A roster of no patients yet, beside those of the store. */
export function emptyRoster(stored: Study): Roster {
  return {
    drafts: new Map(),
    faulty: new Set(),
    stored: new Map(stored.map((history) => [history.patient.code, history])),
    complete: true,
  };
}

/** A draft of a patient without visits and events yet. */
export function startDraft(patient: Patient, row: number | null): PatientDraft {
  return { patient, row, visits: new Map(), events: new Map() };
}

/**
 * The draft that a row about `code` belongs to; a patient of the store joins the import here. Returns 'faulty'
 * when the patient's own row is at fault, 'unknown' when there is no such patient.
 */
export function findDraft(roster: Roster, code: string): PatientDraft | 'faulty' | 'unknown' {
  const draft = roster.drafts.get(code);
  if (draft !== undefined) return draft;
  if (roster.faulty.has(code) || !roster.complete) return 'faulty';
  const stored = roster.stored.get(code);
  if (stored === undefined) return 'unknown';
  const joined = startDraft(stored.patient, null);
  roster.drafts.set(code, joined);
  return joined;
}

/** The history that a draft amounts to. */
export function finishDraft(draft: PatientDraft): PatientHistory {
  return {
    patient: draft.patient,
    visits: [...draft.visits.values()].map(({ visit }) => visit),
    events: [...draft.events.values()].map(({ event }) => event),
  };
}
