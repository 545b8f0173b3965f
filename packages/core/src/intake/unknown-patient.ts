import type { Roster } from './draft';
import type { FaultDetail } from './faults';

/** The fault of a row about a patient who is neither in patients.csv nor in the store. */
export function unknownPatient(row: number, column: string, code: string, roster: Roster): FaultDetail {
  const hasStore = roster.stored.size > 0;
  return {
    kind: 'unknown-patient',
    row,
    column,
    value: code,
    message: `there is no patient with this code in patients.csv${hasStore ? ' or in the store' : ''}`,
    allowed: `a code of patients.csv${hasStore ? ' or of a patient already in the store' : ''}`,
  };
}
