import type { ImportedTable } from '../growth/imported-table';
import type { PatientHistory, Study } from '../records/history';
import { noChanges } from './changes';
import { checkHistory, type HistoryRows } from './consistency';
import { readCsvTable } from './csv-table';
import { emptyRoster, finishDraft, type PatientDraft, type Roster } from './draft';
import { readEventRows } from './event-rows';
import { collectFaults, importFileSchema, type Fault, type FaultCollector, type ImportTexts } from './faults';
import { readGrowthTableRows } from './growth-table-rows';
import { eventKey, visitKey } from './identity';
import { readMeasurementRows } from './measurement-rows';
import { mergeHistory } from './merge-history';
import { readPatientRows } from './patient-rows';

export type ImportReading =
  | { readonly ok: true; readonly study: PatientHistory[]; readonly tables: ImportedTable[] }
  | { readonly ok: false; readonly faults: Fault[] };

/**
 * Reads the texts of up to four import files (already decoded; see docs/import.md for their form). Either
 * everything is right and the study and the growth tables they hold are returned, or every fault found is, each with its place.
 *
 * `existing` is what the store already holds: measurements and events may speak of its patients, and what the
 * files say is checked against their records too. The returned study holds the records of the files only, for
 * `mergeStudy`; patients stand in the order of patients.csv, then those of the store as they are first named.
 */
export function readImport(texts: ImportTexts, existing: Study = []): ImportReading {
  const faults = collectFaults();
  const roster = emptyRoster(existing);
  if (Object.values(texts).every((text) => text == null)) reportNothing(faults);
  if (texts.patients !== null) {
    const table = readCsvTable('patients.csv', texts.patients, faults);
    if (table === null) roster.complete = false;
    else readPatientRows(table, roster, faults);
  }
  if (texts.measurements !== null) {
    const table = readCsvTable('measurements.csv', texts.measurements, faults);
    if (table !== null) readMeasurementRows(table, roster, faults);
  }
  if (texts.events !== null) {
    const table = readCsvTable('events.csv', texts.events, faults);
    if (table !== null) readEventRows(table, roster, faults);
  }
  const tables = texts.growthTables == null ? [] : readTables(texts.growthTables, faults);
  const study = finishStudy(roster, faults);
  return faults.isEmpty() ? { ok: true, study, tables } : { ok: false, faults: faults.list() };
}

function readTables(text: string, faults: FaultCollector): ImportedTable[] {
  const table = readCsvTable('growth-table.csv', text, faults);
  return table === null ? [] : readGrowthTableRows(table, faults);
}

function reportNothing(faults: FaultCollector): void {
  faults.add('patients.csv', () => ({
    kind: 'nothing-given',
    row: null,
    column: null,
    value: null,
    message: 'none of the files was given',
    allowed: `${importFileSchema.options.join(', ')}, or some of them`,
  }));
}

/** Finishes every draft and checks it as it would stand in the store, so together with what is there already. */
function finishStudy(roster: Roster, faults: FaultCollector): PatientHistory[] {
  return [...roster.drafts].map(([code, draft]) => {
    const incoming = finishDraft(draft);
    const before = roster.stored.get(code) ?? null;
    const merged = before === null ? incoming : mergeHistory(before, incoming, noChanges());
    checkHistory(merged, rowsOf(draft), faults);
    return incoming;
  });
}

function rowsOf(draft: PatientDraft): HistoryRows {
  return {
    patient: draft.row,
    visit: (visit) => draft.visits.get(visitKey(visit))?.row ?? null,
    event: (event) => draft.events.get(eventKey(event))?.row ?? null,
  };
}
