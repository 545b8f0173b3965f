import Papa from 'papaparse';
import type { ImportedTable } from '../growth/imported-table';
import { MEASURES } from '../measures/catalogue';
import type { PatientHistory, Study } from '../records/history';
import type { Measurement, Visit } from '../records/visit';
import { visitKindSchema } from '../records/vocabulary';
import type { Column } from './column';
import { EVENT_COLUMNS, GROWTH_TABLE_COLUMNS, MEASUREMENT_COLUMNS, PATIENT_COLUMNS } from './columns';
import { growthTableKey, inTableOrder } from './growth-table-rows';

/** The three files of a study, as texts; growth tables are written by themselves (`writeGrowthTables`). */
export interface ImportFileTexts {
  readonly patients: string;
  readonly measurements: string;
  readonly events: string;
}

/**
 * The study in the form in which it can be imported: comma-separated, one line feed a row, always in the same
 * order whatever the order of the study. Reading it back gives exactly `inFileOrder(study)`. A visit without
 * measurements has no row in these files and is not written.
 */
export function writeImportFiles(study: Study): ImportFileTexts {
  const ordered = inFileOrder(study);
  return {
    patients: csvText(Object.values(PATIENT_COLUMNS), ordered.map(patientCells)),
    measurements: csvText(Object.values(MEASUREMENT_COLUMNS), ordered.flatMap(measurementRows)),
    events: csvText(Object.values(EVENT_COLUMNS), ordered.flatMap(eventRows)),
  };
}

/** Growth tables as the text of growth-table.csv, by name and measure. Reading it back gives the same tables. */
export function writeGrowthTables(tables: readonly ImportedTable[]): string {
  const ordered = [...tables].sort((a, b) => byText(growthTableKey(a), growthTableKey(b)));
  return csvText(Object.values(GROWTH_TABLE_COLUMNS), ordered.flatMap(growthTableRows));
}

/**
 * The study in the order of its files: patients by code; visits by kind, date and age; readings in the order
 * of the catalogue, then by examiner, film and replicate; events by date. Visits without measurements are left out.
 */
export function inFileOrder(study: Study): PatientHistory[] {
  return study
    .map(({ patient, visits, events }) => ({
      patient,
      visits: visits
        .filter((visit) => visit.measurements.length > 0)
        .map((visit) => ({ ...visit, measurements: [...visit.measurements].sort(byMeasure) }))
        .sort(byVisit),
      events: [...events].sort((a, b) => byText(a.date, b.date) || byText(a.event, b.event)),
    }))
    .sort((a, b) => byText(a.patient.code, b.patient.code));
}

/** By character codes, so that the order is the same under every language setting. */
function byText(one: string, other: string): number {
  return one < other ? -1 : one > other ? 1 : 0;
}

const KIND_ORDER = new Map(visitKindSchema.options.map((kind, index) => [kind, index]));
const MEASURE_ORDER = new Map(MEASURES.map((measure, index) => [measure.code, index]));

function byVisit(one: Visit, other: Visit): number {
  return (
    (KIND_ORDER.get(one.kind) ?? 0) - (KIND_ORDER.get(other.kind) ?? 0) ||
    byText(one.date ?? '', other.date ?? '') ||
    (one.ageYears ?? 0) - (other.ageYears ?? 0)
  );
}

function byMeasure(one: Measurement, other: Measurement): number {
  return (
    (MEASURE_ORDER.get(one.measure) ?? 0) - (MEASURE_ORDER.get(other.measure) ?? 0) ||
    byText(one.examiner, other.examiner) ||
    one.film - other.film ||
    one.replicate - other.replicate
  );
}

function csvText(columns: readonly Column<unknown>[], rows: string[][]): string {
  const fields = columns.map((column) => column.name);
  return `${Papa.unparse([fields, ...rows], { newline: '\n' })}\n`;
}

function yesNo(answer: boolean | null): string {
  if (answer === null) return '';
  return answer ? 'yes' : 'no';
}

/** In the order of PATIENT_COLUMNS. */
function patientCells({ patient }: PatientHistory): string[] {
  return [
    patient.code,
    patient.sex,
    patient.birthDate ?? '',
    patient.group,
    patient.protocol ?? '',
    yesNo(patient.expansion),
    patient.maturityStart ?? '',
    patient.treatmentStart ?? '',
    patient.activeEnd ?? '',
    yesNo(patient.consentFollowUp),
    yesNo(patient.consentPooling),
  ];
}

/** In the order of MEASUREMENT_COLUMNS. */
function measurementRows({ patient, visits }: PatientHistory): string[][] {
  return visits.flatMap((visit) =>
    visit.measurements.map(({ measure, value, replicate, examiner, film }) => [
      patient.code,
      visit.kind,
      visit.date ?? '',
      visit.ageYears === null ? '' : String(visit.ageYears),
      measure,
      String(value),
      String(replicate),
      examiner,
      String(film),
      visit.filmFactor === null ? '' : String(visit.filmFactor),
      visit.filmFactorEvidence ?? '',
    ]),
  );
}

/** In the order of GROWTH_TABLE_COLUMNS. */
function growthTableRows({ name, measure, source, filmFactor, ownRateSd, rows }: ImportedTable): string[][] {
  return [...rows]
    .sort(inTableOrder)
    .map(({ sex, ageYears, stage, mean, sd, n }) => [
      name,
      measure,
      sex,
      ageYears === null ? '' : String(ageYears),
      stage ?? '',
      String(mean),
      sd === null ? '' : String(sd),
      n === null ? '' : String(n),
      String(filmFactor),
      ownRateSd === null ? '' : String(ownRateSd),
      source,
    ]);
}

/** In the order of EVENT_COLUMNS. */
function eventRows({ patient, events }: PatientHistory): string[][] {
  return events.map(({ date, event }) => [patient.code, date, event]);
}
