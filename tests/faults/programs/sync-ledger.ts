import { readFileSync } from 'node:fs';
import type { PushAnswer, PushInput } from '@longhold/core/exchange';

/** What a sending program writes down: a batch before it is sent for the first time, its answer once that has come. */
export type LedgerLine = { readonly sending: PushInput } | { readonly answered: PushAnswer };

/** A batch, with its answer; null where none came before the program was killed. */
export interface LedgerBatch {
  readonly input: PushInput;
  readonly answer: PushAnswer | null;
}

/** What a clinic counts on of one patient. */
export interface LedgerPatient {
  /** Digest of the newest version; null once withdrawn. */
  readonly version: string | null;
  /** The number that the service answered; null where the answer did not come. */
  readonly sequence: number | null;
}

/** The batches of a ledger in the order in which they were first sent. A line that a kill cut short counts for nothing. */
export function readLedger(path: string): LedgerBatch[] {
  const batches = new Map<string, LedgerBatch>();
  for (const text of readFileSync(path, 'utf8').split('\n')) {
    const line = wholeLine(text);
    if (line === null) continue;
    if ('sending' in line) {
      if (batches.has(line.sending.batch)) throw new Error('a batch was made twice');
      batches.set(line.sending.batch, { input: line.sending, answer: null });
    } else {
      const batch = batches.get(line.answered.batch);
      if (batch === undefined) throw new Error('an answer has no batch');
      batches.set(line.answered.batch, { ...batch, answer: line.answered });
    }
  }
  return [...batches.values()];
}

function wholeLine(text: string): LedgerLine | null {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

/** What batches make of their patients, by pseudonym. */
export function patientsAfter(batches: readonly LedgerBatch[]): Map<string, LedgerPatient> {
  const patients = new Map<string, LedgerPatient>();
  for (const { input, answer } of batches) {
    input.items.forEach((item, index) => {
      const told = answer?.items[index];
      const sequence = told?.kind === 'stored' ? told.sequence : null;
      if (item.kind === 'record') patients.set(item.record.pseudonym, { version: item.version, sequence });
      else patients.set(item.pseudonym, { version: null, sequence: null });
    });
  }
  return patients;
}
