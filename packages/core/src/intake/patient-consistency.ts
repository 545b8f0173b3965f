import { yearsBetween, type IsoDate } from '../records/calendar';
import type { Patient } from '../records/patient';
import { PATIENT_COLUMNS } from './columns';
import type { FaultCollector } from './faults';
import { requireOrder, type Moment } from './moment';

type DatedColumn = 'birthDate' | 'treatmentStart' | 'activeEnd';

/** One of a patient's own dates as a moment, or null when it is not recorded. */
export function patientMoment(patient: Patient, field: DatedColumn, row: number | null): Moment | null {
  const date: IsoDate | null = patient[field];
  if (date === null) return null;
  const column = PATIENT_COLUMNS[field].name;
  const ageYears = patient.birthDate === null ? null : yearsBetween(patient.birthDate, date);
  return { what: column, date, ageYears, place: { file: 'patients.csv', row, column } };
}

/** Checks the cells of one patient against each other. */
export function checkPatient(patient: Patient, row: number | null, faults: FaultCollector): void {
  if (patient.group === 'untreated') checkUntreated(patient, row, faults);
  else checkTreated(patient, row, faults);
  const birth = patientMoment(patient, 'birthDate', row);
  const start = patientMoment(patient, 'treatmentStart', row);
  const end = patientMoment(patient, 'activeEnd', row);
  if (birth !== null && start !== null) requireOrder(patient.code, birth, start, true, faults);
  if (start !== null && end !== null) requireOrder(patient.code, start, end, true, faults);
  if (start === null && birth !== null && end !== null) requireOrder(patient.code, birth, end, true, faults);
}

function checkUntreated(patient: Patient, row: number | null, faults: FaultCollector): void {
  for (const field of ['protocol', 'expansion', 'treatmentStart', 'activeEnd'] as const) {
    const value = patient[field];
    if (value === null) continue;
    faults.add('patients.csv', () => ({
      kind: 'must-be-empty',
      row,
      column: PATIENT_COLUMNS[field].name,
      value: typeof value === 'boolean' ? (value ? 'yes' : 'no') : value,
      message: `patient ${patient.code} is untreated`,
      allowed: 'an empty cell for untreated patients',
    }));
  }
}

function checkTreated(patient: Patient, row: number | null, faults: FaultCollector): void {
  const demand = (field: 'protocol' | 'treatmentStart', patients: string): void => {
    if (patient[field] !== null) return;
    faults.add('patients.csv', () => ({
      kind: 'missing-value',
      row,
      column: PATIENT_COLUMNS[field].name,
      value: null,
      message: `patient ${patient.code} is treated, but this cell is empty`,
      allowed: `a filled cell for ${patients}`,
    }));
  };
  demand('protocol', 'treated patients');
  if (patient.birthDate !== null) demand('treatmentStart', 'treated patients with a birth_date');
}
