import type { PatientHistory, Study } from '../records/history';
import { changeTotal, noChanges, type ChangeCounts } from './changes';
import { checkHistory, NO_ROWS } from './consistency';
import { collectFaults, type Fault } from './faults';
import { mergeHistory } from './merge-history';

/** A patient whose records an import adds to or changes; `before` is null for a new patient. */
export interface TouchedPatient {
  readonly code: string;
  readonly before: PatientHistory | null;
  readonly after: PatientHistory;
}

/** What an import would change in a store. */
export interface StudyMerge {
  readonly changes: ChangeCounts;
  /** Only patients with something added or changed, in the order of the import. */
  readonly touched: readonly TouchedPatient[];
  /** Contradictions in the merged records, without row numbers; nothing may be written while there are any. */
  readonly conflicts: readonly Fault[];
}

/**
 * Lays an import over the records of a store. Patients are matched by code; start and end visits by kind,
 * follow-ups by date (or age); readings by visit, measure, examiner, replicate and film; events by date and kind.
 * Nothing that the import leaves out is removed. Linear in the size of both; changes neither argument.
 */
export function mergeStudy(existing: Study, incoming: Study): StudyMerge {
  const known = new Map(existing.map((history) => [history.patient.code, history]));
  const changes = noChanges();
  const touched: TouchedPatient[] = [];
  const faults = collectFaults();
  let changedSoFar = 0;
  for (const history of incoming) {
    const { code } = history.patient;
    const before = known.get(code) ?? null;
    const after = mergeHistory(before, history, changes);
    const changed = changeTotal(changes);
    if (changed === changedSoFar) continue;
    changedSoFar = changed;
    checkHistory(after, NO_ROWS, faults);
    touched.push({ code, before, after });
  }
  return { changes, touched, conflicts: faults.list() };
}
