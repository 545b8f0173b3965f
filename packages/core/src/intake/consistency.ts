import type { PatientHistory } from '../records/history';
import type { PatientEvent, Visit } from '../records/visit';
import { checkEvents } from './event-consistency';
import type { FaultCollector } from './faults';
import { checkPatient } from './patient-consistency';
import { checkVisits } from './visit-consistency';

/** The rows that a history came from; null for parts that came from the store. */
export interface HistoryRows {
  readonly patient: number | null;
  readonly visit: (visit: Visit) => number | null;
  readonly event: (event: PatientEvent) => number | null;
}

/** The rows of a history that came from no file. */
export const NO_ROWS: HistoryRows = { patient: null, visit: () => null, event: () => null };

/**
 * Checks what the records of one patient say against each other: dates in order, visits that fit the
 * treatment, ages that fit the dates. Every contradiction becomes a fault at its row, where it has one.
 */
export function checkHistory(history: PatientHistory, rows: HistoryRows, faults: FaultCollector): void {
  checkPatient(history.patient, rows.patient, faults);
  checkVisits(history, rows, faults);
  checkEvents(history, rows, faults);
}
