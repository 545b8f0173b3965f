import { yearsBetween } from '../records/calendar';
import type { PatientHistory } from '../records/history';
import { EVENT_COLUMNS } from './columns';
import type { HistoryRows } from './consistency';
import type { FaultCollector } from './faults';
import { requireOrder, type Moment } from './moment';
import { patientMoment } from './patient-consistency';

/** Checks that no event of a patient lies before birth or before the start of active treatment. */
export function checkEvents(history: PatientHistory, rows: HistoryRows, faults: FaultCollector): void {
  const { patient } = history;
  const earliest =
    patientMoment(patient, 'treatmentStart', rows.patient) ??
    patientMoment(patient, 'birthDate', rows.patient);
  if (earliest === null) return;
  for (const event of history.events) {
    const moment: Moment = {
      what: `the event ${event.event}`,
      date: event.date,
      ageYears: patient.birthDate === null ? null : yearsBetween(patient.birthDate, event.date),
      place: { file: 'events.csv', row: rows.event(event), column: EVENT_COLUMNS.date.name },
    };
    requireOrder(patient.code, earliest, moment, false, faults);
  }
}
