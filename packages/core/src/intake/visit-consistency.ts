import { ageAtVisit, visitOfKind, type PatientHistory } from '../records/history';
import type { Patient } from '../records/patient';
import { ageYearsSchema, type Visit } from '../records/visit';
import { MEASUREMENT_COLUMNS, PATIENT_COLUMNS } from './columns';
import type { HistoryRows } from './consistency';
import type { FaultCollector, FaultDetail, FaultKind } from './faults';
import { AGE_TOLERANCE_YEARS, bestPlace, requireOrder, type Moment, type Place } from './moment';
import { patientMoment } from './patient-consistency';

/** A patient's own dates and the visits that happen once, each null where there is none. */
interface Milestones {
  readonly birth: Moment | null;
  readonly treatmentStart: Moment | null;
  readonly activeEnd: Moment | null;
  readonly startVisit: Moment | null;
  readonly endVisit: Moment | null;
}

/** Checks the visits of one patient against the patient's own dates and against each other. */
export function checkVisits(history: PatientHistory, rows: HistoryRows, faults: FaultCollector): void {
  const { patient, visits } = history;
  const milestones = milestonesOf(history, rows);
  for (const visit of visits) {
    checkKind(patient, visit, rows, faults);
    checkAge(patient, visit, rows, faults);
    checkFactor(patient, visit, rows, faults);
    checkOrder(patient.code, visit.kind, visitMoment(patient, visit, rows), milestones, faults);
  }
}

function milestonesOf(history: PatientHistory, rows: HistoryRows): Milestones {
  const { patient } = history;
  const visitOnce = (kind: Visit['kind']): Moment | null => {
    const visit = visitOfKind(history, kind);
    return visit === undefined ? null : visitMoment(patient, visit, rows);
  };
  return {
    birth: patientMoment(patient, 'birthDate', rows.patient),
    treatmentStart: patientMoment(patient, 'treatmentStart', rows.patient),
    activeEnd: patientMoment(patient, 'activeEnd', rows.patient),
    startVisit: visitOnce('start'),
    endVisit: visitOnce('end_of_active'),
  };
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

/** One cell that takes part in a contradiction. */
interface Cell {
  readonly column: string;
  readonly value: string | null;
}

/** Points at a visit's cell or, where the visit came from the store, at the patient's cell that now denies it. */
function addVisitFault(
  visitCell: Cell,
  patientCell: Cell,
  rows: { readonly visit: number | null; readonly patient: number | null },
  faults: FaultCollector,
  detail: Pick<FaultDetail, 'kind' | 'message' | 'allowed'>,
): void {
  const atVisit: Place = { file: 'measurements.csv', row: rows.visit, column: visitCell.column };
  const atPatient: Place = { file: 'patients.csv', row: rows.patient, column: patientCell.column };
  const { file, row, column } = bestPlace(atVisit, atPatient);
  const { value } = file === atVisit.file ? visitCell : patientCell;
  faults.add(file, () => ({ ...detail, row, column, value }));
}

function checkKind(patient: Patient, visit: Visit, rows: HistoryRows, faults: FaultCollector): void {
  const complain = (denier: Cell, why: string, allowed: string): void => {
    const kind = { column: MEASUREMENT_COLUMNS.visitKind.name, value: visit.kind };
    addVisitFault(kind, denier, { visit: rows.visit(visit), patient: rows.patient }, faults, {
      kind: 'wrong-visit-kind',
      message: `patient ${patient.code} ${why}, but has a visit of kind ${visit.kind}`,
      allowed,
    });
  };
  if (visit.kind === 'start') return;
  if (patient.group === 'untreated') {
    if (visit.kind === 'follow_up') return;
    const group = { column: PATIENT_COLUMNS.group.name, value: patient.group };
    complain(group, 'is untreated', 'start or follow_up visits for untreated patients');
  } else if (patient.treatmentStart !== null && patient.activeEnd === null) {
    const activeEnd = { column: PATIENT_COLUMNS.activeEnd.name, value: null };
    const why = 'is still in active treatment (active_end is empty)';
    complain(activeEnd, why, 'only a start visit until active_end is filled in');
  }
}

function checkAge(patient: Patient, visit: Visit, rows: HistoryRows, faults: FaultCollector): void {
  const birth: Cell = { column: PATIENT_COLUMNS.birthDate.name, value: patient.birthDate };
  const day: Cell = { column: MEASUREMENT_COLUMNS.visitDate.name, value: visit.date };
  const recorded: Cell = { column: MEASUREMENT_COLUMNS.ageYears.name, value: String(visit.ageYears) };
  const complain = (visitCell: Cell, kind: FaultKind, message: string, allowed: string): void =>
    addVisitFault(visitCell, birth, { visit: rows.visit(visit), patient: rows.patient }, faults, {
      kind,
      message: `patient ${patient.code}${message}`,
      allowed,
    });

  const age = ageAtVisit(patient, visit);
  if (age === null) {
    const message = ' has no birth_date, so a date alone gives no age at this visit';
    complain(day, 'age-unknown', message, `a birth_date in patients.csv, or ${recorded.column} at the visit`);
    return;
  }
  const oldest = ageYearsSchema.maxValue ?? Infinity;
  if (age > oldest) {
    const message = `, born ${birth.value}, would be ${age.toFixed(1)} years old at this visit`;
    complain(day, 'out-of-range', message, `an age of up to ${oldest} years`);
  }
  if (patient.birthDate === null || visit.date === null || visit.ageYears === null) return;
  // The extra billionth keeps a difference of exactly a tenth from being refused for its binary rounding.
  if (Math.abs(age - visit.ageYears) <= AGE_TOLERANCE_YEARS + 1e-9) return;
  const message = `, born ${birth.value}, is ${age.toFixed(2)} years old on ${visit.date}, recorded as ${visit.ageYears}`;
  complain(recorded, 'age-disagrees', message, `ages within ${AGE_TOLERANCE_YEARS} years of the dates`);
}

/** Evidence says how a factor is known, so there must be a factor. */
function checkFactor(patient: Patient, visit: Visit, rows: HistoryRows, faults: FaultCollector): void {
  if (visit.filmFactor !== null || visit.filmFactorEvidence === null) return;
  const { filmFactor, filmFactorEvidence } = MEASUREMENT_COLUMNS;
  faults.add('measurements.csv', () => ({
    kind: 'missing-value',
    row: rows.visit(visit),
    column: filmFactor.name,
    value: null,
    message: `patient ${patient.code} has ${filmFactorEvidence.name} ${visit.filmFactorEvidence} at this visit and no factor`,
    allowed: `${filmFactor.allowed.replace(', or empty', '')}; or an empty ${filmFactorEvidence.name}`,
  }));
}

/** Reports the first contradiction only: one wrong date would otherwise be named against every other date. */
function checkOrder(
  code: string,
  kind: Visit['kind'],
  visit: Moment,
  { birth, treatmentStart, activeEnd, startVisit, endVisit }: Milestones,
  faults: FaultCollector,
): void {
  const inOrder = (earlier: Moment | null, later: Moment | null, strictly: boolean): boolean =>
    earlier === null || later === null || requireOrder(code, earlier, later, strictly, faults);

  if (!inOrder(birth, visit, false)) return;
  if (kind === 'start') inOrder(visit, activeEnd, false);
  else if (kind === 'end_of_active') {
    if (inOrder(treatmentStart, visit, true)) inOrder(startVisit, visit, true);
  } else if (inOrder(activeEnd, visit, false) && inOrder(endVisit, visit, true)) {
    inOrder(startVisit, visit, true);
  }
}
