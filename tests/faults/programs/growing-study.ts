import { inventedStudy } from '@longhold/desktop/host/store/store.fixture';
import type { PatientHistory } from '@longhold/core/records';

/** How many patients the import of a given number brings: mostly few, sometimes enough to outgrow the log. */
function newPatients(number: number): number {
  return number % 7 === 3 ? 150 : 12;
}

function arriving(number: number): PatientHistory[] {
  return inventedStudy(newPatients(number), number);
}

/** What the next import makes of the patients that the one before it brought: one visit fewer, one event more. */
function changedLater(history: PatientHistory): PatientHistory {
  return {
    ...history,
    visits: history.visits.slice(1),
    events: [...history.events, { date: '2022-02-02', event: 'declined' }],
  };
}

/** Import `number` (1, 2, ...): patients as they were and as they become. */
export function importNumber(number: number): { from: PatientHistory[]; to: PatientHistory[] } {
  const earlier = number === 1 ? [] : arriving(number - 1);
  return { from: earlier, to: [...earlier.map(changedLater), ...arriving(number)] };
}

/** All patients after that many imports, ordered by code. */
export function studyAfter(imports: number): PatientHistory[] {
  const all: PatientHistory[] = [];
  for (let number = 1; number <= imports; number++) {
    const brought = arriving(number);
    all.push(...(number < imports ? brought.map(changedLater) : brought));
  }
  return all.sort((a, b) => (a.patient.code < b.patient.code ? -1 : 1));
}

/** Audit entries after that many imports: one for each import and one for each patient it touched. */
export function auditEntriesAfter(imports: number): number {
  let entries = 0;
  for (let number = 1; number <= imports; number++) entries += 1 + importNumber(number).to.length;
  return entries;
}
