import { allRead } from './all-read';
import { cellReader } from './cells';
import { EVENT_COLUMNS } from './columns';
import type { CsvTable } from './csv-table';
import { findDraft, type Roster } from './draft';
import type { FaultCollector } from './faults';
import { eventKey } from './identity';
import { unknownPatient } from './unknown-patient';

/** Reads the rows of events.csv into the drafts of their patients; an event that is there twice names both rows. */
export function readEventRows(table: CsvTable, roster: Roster, faults: FaultCollector): void {
  const readPatientCode = cellReader(table, EVENT_COLUMNS.patientCode, faults);
  const readDate = cellReader(table, EVENT_COLUMNS.date, faults);
  const readEvent = cellReader(table, EVENT_COLUMNS.event, faults);
  table.forEachRow((row) => {
    const code = readPatientCode(row);
    const event = allRead({ date: readDate(row), event: readEvent(row) });
    if (code === undefined) return;
    const draft = findDraft(roster, code);
    if (draft === 'unknown') {
      faults.add(table.file, () => unknownPatient(row.number, EVENT_COLUMNS.patientCode.name, code, roster));
      return;
    }
    if (draft === 'faulty' || event === undefined) return;
    const key = eventKey(event);
    const first = draft.events.get(key);
    if (first === undefined) {
      draft.events.set(key, { row: row.number, event });
      return;
    }
    faults.add(table.file, () => ({
      kind: 'doubled-event',
      row: row.number,
      column: EVENT_COLUMNS.event.name,
      value: event.event,
      message: `this event is already in row ${first.row}`,
      allowed: 'each event once',
    }));
  });
}
