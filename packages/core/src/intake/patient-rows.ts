import type { Patient } from '../records/patient';
import { allRead } from './all-read';
import { cellReader } from './cells';
import type { Column } from './column';
import { PATIENT_COLUMNS } from './columns';
import type { CsvTable, TableRow } from './csv-table';
import { startDraft, type Roster } from './draft';
import type { FaultCollector } from './faults';

/**
 * Reads the rows of patients.csv into the roster. Faults name the cell; a second row with the same code names
 * both rows. What the cells of a row say against each other is checked later, on the whole history.
 */
export function readPatientRows(table: CsvTable, roster: Roster, faults: FaultCollector): void {
  const readCode = cellReader(table, PATIENT_COLUMNS.code, faults);
  const readPatient = patientReader(table, faults);
  const firstRows = new Map<string, number>();
  roster.complete = table.complete && table.places.has(PATIENT_COLUMNS.code.name);
  table.forEachRow((row) => {
    const code = readCode(row);
    const patient = readPatient(row, code);
    if (code === undefined) return;
    const firstRow = firstRows.get(code);
    if (firstRow !== undefined) {
      faults.add(table.file, () => doubledPatient(row.number, code, firstRow));
      return;
    }
    firstRows.set(code, row.number);
    if (patient === undefined) roster.faulty.add(code);
    else roster.drafts.set(code, startDraft(patient, row.number));
  });
}

function doubledPatient(row: number, code: string, firstRow: number) {
  return {
    kind: 'doubled-patient' as const,
    row,
    column: PATIENT_COLUMNS.code.name,
    value: code,
    message: `this code is already in row ${firstRow}`,
    allowed: 'one row for each patient',
  };
}

/** Reads every cell of a row, so that all its faults are found, and returns the patient if there are none. */
function patientReader(
  table: CsvTable,
  faults: FaultCollector,
): (row: TableRow, code: string | undefined) => Patient | undefined {
  const column = <T>(definition: Column<T>) => cellReader(table, definition, faults);
  const readSex = column(PATIENT_COLUMNS.sex);
  const readBirthDate = column(PATIENT_COLUMNS.birthDate);
  const readGroup = column(PATIENT_COLUMNS.group);
  const readProtocol = column(PATIENT_COLUMNS.protocol);
  const readExpansion = column(PATIENT_COLUMNS.expansion);
  const readMaturity = column(PATIENT_COLUMNS.maturityStart);
  const readTreatmentStart = column(PATIENT_COLUMNS.treatmentStart);
  const readActiveEnd = column(PATIENT_COLUMNS.activeEnd);
  const readFollowUp = column(PATIENT_COLUMNS.consentFollowUp);
  const readPooling = column(PATIENT_COLUMNS.consentPooling);
  return (row, code) =>
    allRead({
      code,
      sex: readSex(row),
      birthDate: readBirthDate(row),
      group: readGroup(row),
      protocol: readProtocol(row),
      expansion: readExpansion(row),
      maturityStart: readMaturity(row),
      treatmentStart: readTreatmentStart(row),
      activeEnd: readActiveEnd(row),
      consentFollowUp: readFollowUp(row),
      consentPooling: readPooling(row),
    });
}
