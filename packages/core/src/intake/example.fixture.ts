import type { Fault, ImportTexts } from './faults';
import { readImport } from './read-import';
import type { PatientHistory, Study } from '../records/history';

/** Invented records of one treated, one untreated and one ages-only patient, all in order. */
export const PATIENTS = [
  'code,sex,birth_date,group,protocol,expansion,maturity_start,treatment_start,active_end,consent_follow_up,consent_pooling',
  'A01,female,2004-03-10,treated,PLATE,yes,CS3,2015-04-01,2016-05-20,yes,no',
  'U01,male,2003-07-02,untreated,,,,,,yes,yes',
  'S01,male,,treated,BLOCK,,,,,no,no',
];
export const MEASUREMENTS = [
  'patient_code,visit_kind,visit_date,age_years,measure,value,replicate,examiner',
  'A01,start,2015-03-20,,Co-Gn,98.5,1,ex1',
  'A01,start,2015-03-20,,Co-Gn,98.9,2,ex1',
  'A01,end_of_active,2016-06-01,,Co-Gn,106.25,1,ex1',
  'A01,follow_up,2018-06-10,,Co-Gn,110,1,',
  'U01,follow_up,2013-07-01,10.0,Co-Gn,95.5,1,',
  'S01,start,,9.5,ANB,6.5,1,',
  'S01,end_of_active,,10.75,ANB,3.5,1,',
];
export const EVENTS = ['patient_code,date,event', 'A01,2019-01-15,moved'];

/** Texts of which those that are left out are not given. */
type GivenTexts = Partial<ImportTexts>;

export const EXAMPLE = {
  patients: text(PATIENTS),
  measurements: text(MEASUREMENTS),
  events: text(EVENTS),
  growthTables: null,
} satisfies ImportTexts;

const NO_TEXTS: ImportTexts = { patients: null, measurements: null, events: null, growthTables: null };

/** Lines as a file. */
export function text(lines: readonly string[]): string {
  return `${lines.join('\n')}\n`;
}

/** The example with lines of one file replaced, by row number as a person counts them (the header is row 1). */
export function withRows(
  file: 'patients' | 'measurements' | 'events',
  rows: Readonly<Record<number, string>>,
): ImportTexts {
  const lines = [...{ patients: PATIENTS, measurements: MEASUREMENTS, events: EVENTS }[file]];
  for (const [row, line] of Object.entries(rows)) lines[Number(row) - 1] = line;
  return { ...EXAMPLE, [file]: text(lines) };
}

/** The study of texts that are expected to be right. */
export function studyOf(texts: GivenTexts, existing: Study = []): PatientHistory[] {
  const reading = readImport({ ...NO_TEXTS, ...texts }, existing);
  if (!reading.ok) throw new Error(`unexpected faults: ${JSON.stringify(reading.faults)}`);
  return reading.study;
}

/** The faults of texts; none when they are right. */
export function faultsOf(texts: GivenTexts, existing: Study = []): Fault[] {
  const reading = readImport({ ...NO_TEXTS, ...texts }, existing);
  return reading.ok ? [] : reading.faults;
}

/** Faults without their wording: kind and place, as `kind file:row:column=value`. */
export function placesOf(texts: GivenTexts, existing: Study = []): string[] {
  return faultsOf(texts, existing).map(
    ({ kind, file, row, column, value }) => `${kind} ${file}:${row ?? '-'}:${column ?? '-'}=${value ?? '-'}`,
  );
}
