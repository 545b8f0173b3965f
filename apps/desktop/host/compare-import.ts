import { mergeStudy, readImport, type ImportTexts, type TouchedPatient } from '@longhold/core/intake';
import type { Study } from '@longhold/core/records';
import type { ImportResult } from './open-study';
import { textsFingerprint } from './texts-fingerprint';

/** What import files would change in a store that holds `existing`, and the patients to write for it. */
export function compareImport(
  texts: ImportTexts,
  existing: Study,
): { readonly result: ImportResult; readonly touched: readonly TouchedPatient[] } {
  const fingerprint = textsFingerprint(texts);
  const reading = readImport(texts, existing);
  const merge = reading.ok ? mergeStudy(existing, reading.study) : null;
  const faults = reading.ok ? (merge?.conflicts ?? []) : reading.faults;
  const sound = merge !== null && faults.length === 0;
  return {
    result: { applied: false, faults, changes: sound ? merge.changes : null, fingerprint },
    touched: sound ? merge.touched : [],
  };
}
