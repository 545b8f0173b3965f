import { unitSign } from '../measures/catalogue';
import type { MeasureDefinition } from '../measures/definition';
import type { Measurement, Visit } from '../records/visit';
import { allRead } from './all-read';
import { cellReader } from './cells';
import type { Column } from './column';
import { MEASUREMENT_COLUMNS } from './columns';
import type { CsvTable, TableRow } from './csv-table';
import { findDraft, type PatientDraft, type Roster, type VisitDraft } from './draft';
import type { FaultCollector, FaultDetail } from './faults';
import { measurementKey, visitKey } from './identity';
import { unknownPatient } from './unknown-patient';

type VisitCells = Pick<Visit, 'kind' | 'date' | 'ageYears' | 'filmFactor' | 'filmFactorEvidence'>;

/**
 * Reads the rows of measurements.csv into the drafts of their patients: rows of one visit are gathered, a
 * reading that is there twice and a second start or end visit name both rows.
 */
export function readMeasurementRows(table: CsvTable, roster: Roster, faults: FaultCollector): void {
  const readPatientCode = cellReader(table, MEASUREMENT_COLUMNS.patientCode, faults);
  const readVisit = visitReader(table, faults);
  const readMeasurement = measurementReader(table, faults);
  table.forEachRow((row) => {
    const code = readPatientCode(row);
    const visit = readVisit(row);
    const measurement = readMeasurement(row);
    if (code === undefined) return;
    const draft = findDraft(roster, code);
    if (draft === 'unknown') {
      faults.add(table.file, () =>
        unknownPatient(row.number, MEASUREMENT_COLUMNS.patientCode.name, code, roster),
      );
      return;
    }
    if (draft === 'faulty' || visit === undefined) return;
    const gathered = gatherVisit(draft, visit, row.number, (detail) => faults.add(table.file, detail));
    if (gathered === undefined || measurement === undefined) return;
    addReading(gathered, measurement, row.number, (detail) => faults.add(table.file, detail));
  });
}

type Report = (detail: () => FaultDetail) => void;

function visitReader(table: CsvTable, faults: FaultCollector): (row: TableRow) => VisitCells | undefined {
  const column = <T>(definition: Column<T>) => cellReader(table, definition, faults);
  const readKind = column(MEASUREMENT_COLUMNS.visitKind);
  const readDate = column(MEASUREMENT_COLUMNS.visitDate);
  const readAge = column(MEASUREMENT_COLUMNS.ageYears);
  const readFactor = column(MEASUREMENT_COLUMNS.filmFactor);
  const readEvidence = column(MEASUREMENT_COLUMNS.filmFactorEvidence);
  const { visitDate, ageYears } = MEASUREMENT_COLUMNS;
  const whenName = table.places.has(visitDate.name) ? visitDate.name : ageYears.name;
  return (row) => {
    const cells = allRead({
      kind: readKind(row),
      date: readDate(row),
      ageYears: readAge(row),
      filmFactor: readFactor(row),
      filmFactorEvidence: readEvidence(row),
    });
    if (cells === undefined || cells.date !== null || cells.ageYears !== null) return cells;
    if (table.places.has(whenName)) {
      faults.add(table.file, () => ({
        kind: 'missing-value',
        row: row.number,
        column: whenName,
        value: null,
        message: 'the row has neither a date nor an age for the visit',
        allowed: `a value in ${visitDate.name} or ${ageYears.name}`,
      }));
    }
    return undefined;
  };
}

function measurementReader(
  table: CsvTable,
  faults: FaultCollector,
): (row: TableRow) => Measurement | undefined {
  const column = <T>(definition: Column<T>) => cellReader(table, definition, faults);
  const readMeasure = column(MEASUREMENT_COLUMNS.measure);
  const readValue = column(MEASUREMENT_COLUMNS.value);
  const readReplicate = column(MEASUREMENT_COLUMNS.replicate);
  const readExaminer = column(MEASUREMENT_COLUMNS.examiner);
  const readFilm = column(MEASUREMENT_COLUMNS.film);
  return (row) => {
    const measure = readMeasure(row);
    const value = readValue(row);
    const replicate = readReplicate(row);
    const examiner = readExaminer(row);
    const film = readFilm(row);
    if (measure === undefined || value === undefined) return undefined;
    if (!isPlausible(value, measure)) {
      faults.add(table.file, () => implausible(row.number, MEASUREMENT_COLUMNS.value.name, value, measure));
      return undefined;
    }
    return allRead({ measure: measure.code, value, unit: measure.unit, replicate, examiner, film });
  };
}

/** Whether a value lies within the plausible range of its measure. */
export function isPlausible(value: number, { plausible: [low, high] }: MeasureDefinition): boolean {
  return value >= low && value <= high;
}

/** A number that is a slip of the pen or of the unit. */
export function implausible(
  row: number,
  column: string,
  value: number,
  measure: MeasureDefinition,
): FaultDetail {
  const [low, high] = measure.plausible;
  return {
    kind: 'out-of-range',
    row,
    column,
    value: String(value),
    message: `this is not plausible for ${measure.code}`,
    allowed: `${low} to ${high}${unitSign(measure.unit)} for ${measure.code}`,
  };
}

/** The visit a row belongs to, begun or completed by its date and age; undefined when they contradict it. */
function gatherVisit(
  draft: PatientDraft,
  cells: VisitCells,
  row: number,
  report: Report,
): VisitDraft | undefined {
  const key = visitKey(cells);
  const known = draft.visits.get(key);
  if (known === undefined) {
    const begun = { row, visit: { ...cells, measurements: [] }, readings: new Map<string, number>() };
    draft.visits.set(key, begun);
    return begun;
  }
  const { visit } = known;
  if (differ(visit.date, cells.date)) {
    report(() => secondVisit(row, MEASUREMENT_COLUMNS.visitDate.name, cells.date, visit.date, known));
    return undefined;
  }
  if (differ(visit.ageYears, cells.ageYears)) {
    report(() => secondVisit(row, MEASUREMENT_COLUMNS.ageYears.name, cells.ageYears, visit.ageYears, known));
    return undefined;
  }
  if (!gatherFactor(known, cells, row, report)) return undefined;
  visit.date ??= cells.date;
  visit.ageYears ??= cells.ageYears;
  return known;
}

/** Takes a row's factor and evidence into its visit, all of whose films share one factor; false when they contradict it. */
function gatherFactor(known: VisitDraft, cells: VisitCells, row: number, report: Report): boolean {
  const { visit } = known;
  for (const { field, column } of FACTOR_FIELDS) {
    if (!differ(visit[field], cells[field])) continue;
    report(() => ({
      kind: 'contradicting-factor',
      row,
      column: column.name,
      value: String(cells[field]),
      message: `this visit has ${column.name} ${visit[field]} in row ${known.row} or one after it`,
      allowed: `one ${column.name} for all rows of a visit`,
    }));
    return false;
  }
  visit.filmFactor ??= cells.filmFactor;
  visit.filmFactorEvidence ??= cells.filmFactorEvidence;
  return true;
}

const FACTOR_FIELDS = [
  { field: 'filmFactor', column: MEASUREMENT_COLUMNS.filmFactor },
  { field: 'filmFactorEvidence', column: MEASUREMENT_COLUMNS.filmFactorEvidence },
] as const;

function differ(one: string | number | null, other: string | number | null): boolean {
  return one !== null && other !== null && one !== other;
}

function secondVisit(
  row: number,
  column: string,
  here: string | number | null,
  before: string | number | null,
  known: VisitDraft,
): FaultDetail {
  const { kind } = known.visit;
  const what = kind === 'follow_up' ? 'this follow_up visit' : `the patient's ${kind} visit`;
  return {
    kind: 'second-visit',
    row,
    column,
    value: here === null ? null : String(here),
    message: `${what} has ${column} ${before} in row ${known.row}`,
    allowed: kind === 'follow_up' ? 'one age for each visit' : `one ${kind} visit for each patient`,
  };
}

function addReading(gathered: VisitDraft, measurement: Measurement, row: number, report: Report): void {
  const key = measurementKey(measurement);
  const firstRow = gathered.readings.get(key);
  if (firstRow === undefined) {
    gathered.readings.set(key, row);
    gathered.visit.measurements.push(measurement);
    return;
  }
  report(() => ({
    kind: 'doubled-measurement',
    row,
    column: MEASUREMENT_COLUMNS.replicate.name,
    value: String(measurement.replicate),
    message: `${measurement.measure} of this visit with the same examiner, film and replicate is already in row ${firstRow}`,
    allowed: 'a replicate number of its own for each repeated reading',
  }));
}
