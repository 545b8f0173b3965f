import { yearsBetween } from '../records/calendar';
import { ageAtVisit, visitOfKind, type PatientHistory } from '../records/history';
import type { Patient } from '../records/patient';
import { ageYearsSchema, type Visit } from '../records/visit';
import { MEASUREMENT_COLUMNS, PATIENT_COLUMNS } from './columns';
import type { HistoryRows } from './consistency';
import type { FaultCollector, FaultDetail } from './faults';
import { AGE_TOLERANCE_YEARS, bestPlace, requireOrder, type Moment, type Place } from './moment';
import { patientMoment } from './patient-consistency';

/** Checks the visits of one patient against the patient's own dates and against each other. */
export function checkVisits(history: PatientHistory, rows: HistoryRows, faults: FaultCollector): void {
  for (const visit of history.visits) {
    checkKind(history.patient, visit, rows, faults);
    checkAge(history.patient, visit, rows, faults);
    checkOrder(history, visit, rows, faults);
  }
}

function visitMoment(patient: Patient, visit: Visit, rows: HistoryRows): Moment {
  const column = visit.date === null ? MEASUREMENT_COLUMNS.ageYears : MEASUREMENT_COLUMNS.visitDate;
  return {
    what: `the ${visit.kind} visit`,
    date: visit.date,
    ageYears: ageAtVisit(patient, visit),
    place: { file: 'measurements.csv', row: rows.visit(visit), column: column.name },
  };
}

/** Points at a visit's row or, where the visit came from the store, at the patient's row that now denies it. */
function addVisitFault(
  visitColumn: string,
  patientColumn: string,
  visit: Visit,
  rows: HistoryRows,
  faults: FaultCollector,
  detail: Omit<FaultDetail, 'row' | 'column'>,
): void {
  const here: Place = { file: 'measurements.csv', row: rows.visit(visit), column: visitColumn };
  const patient: Place = { file: 'patients.csv', row: rows.patient, column: patientColumn };
  const { file, row, column } = bestPlace(here, patient);
  faults.add(file, () => ({ ...detail, row, column }));
}

function checkKind(patient: Patient, visit: Visit, rows: HistoryRows, faults: FaultCollector): void {
  const complain = (because: PatientColumn, why: string, allowed: string): void =>
    addVisitFault(MEASUREMENT_COLUMNS.visitKind.name, PATIENT_COLUMNS[because].name, visit, rows, faults, {
      kind: 'wrong-visit-kind',
      value: visit.kind,
      message: `patient ${patient.code} ${why}, but has a visit of kind ${visit.kind}`,
      allowed,
    });
  if (visit.kind === 'start') return;
  if (patient.group === 'untreated') {
    if (visit.kind === 'end_of_active')
      complain('group', 'is untreated', 'start or follow_up for untreated patients');
  } else if (patient.treatmentStart !== null && patient.activeEnd === null) {
    complain(
      'activeEnd',
      'is still in active treatment (active_end is empty)',
      'only start until active_end is filled in',
    );
  }
}

type PatientColumn = keyof typeof PATIENT_COLUMNS;

function checkAge(patient: Patient, visit: Visit, rows: HistoryRows, faults: FaultCollector): void {
  const { visitDate, ageYears } = MEASUREMENT_COLUMNS;
  const birthColumn = PATIENT_COLUMNS.birthDate.name;
  const age = ageAtVisit(patient, visit);
  if (age === null) {
    addVisitFault(visitDate.name, birthColumn, visit, rows, faults, {
      kind: 'age-unknown',
      value: visit.date,
      message: `patient ${patient.code} has no birth_date, so a date alone gives no age at this visit`,
      allowed: `a ${birthColumn} in patients.csv, or ${ageYears.name} at the visit`,
    });
    return;
  }
  const oldest = ageYearsSchema.maxValue ?? Infinity;
  if (age > oldest) {
    addVisitFault(visitDate.name, birthColumn, visit, rows, faults, {
      kind: 'out-of-range',
      value: visit.date,
      message: `patient ${patient.code}, born ${patient.birthDate}, would be ${age.toFixed(1)} years old at this visit`,
      allowed: `an age of up to ${oldest} years`,
    });
  }
  if (patient.birthDate === null || visit.date === null || visit.ageYears === null) return;
  const fromDates = yearsBetween(patient.birthDate, visit.date);
  // The extra billionth keeps a difference of exactly a tenth from being refused for its binary rounding.
  if (Math.abs(fromDates - visit.ageYears) <= AGE_TOLERANCE_YEARS + 1e-9) return;
  addVisitFault(ageYears.name, birthColumn, visit, rows, faults, {
    kind: 'age-disagrees',
    value: String(visit.ageYears),
    message: `patient ${patient.code}, born ${patient.birthDate}, is ${fromDates.toFixed(2)} years old on ${visit.date}`,
    allowed: `an age within ${AGE_TOLERANCE_YEARS} years of that, or an empty cell`,
  });
}

/** Reports the first contradiction only: one wrong date would otherwise be named against every other date. */
function checkOrder(history: PatientHistory, visit: Visit, rows: HistoryRows, faults: FaultCollector): void {
  const { patient } = history;
  const now = visitMoment(patient, visit, rows);
  const own = (field: 'birthDate' | 'treatmentStart' | 'activeEnd') =>
    patientMoment(patient, field, rows.patient);
  const other = (kind: Visit['kind']): Moment | null => {
    const found = visitOfKind(history, kind);
    return found === undefined ? null : visitMoment(patient, found, rows);
  };
  const inOrder = (earlier: Moment | null, later: Moment | null, strictly: boolean): boolean =>
    earlier === null || later === null || requireOrder(patient.code, earlier, later, strictly, faults);

  if (!inOrder(own('birthDate'), now, false)) return;
  if (visit.kind === 'start') inOrder(now, own('activeEnd'), false);
  else if (visit.kind === 'end_of_active') {
    if (inOrder(own('treatmentStart'), now, true)) inOrder(other('start'), now, true);
  } else if (inOrder(own('activeEnd'), now, false) && inOrder(other('end_of_active'), now, true)) {
    inOrder(other('start'), now, true);
  }
}
