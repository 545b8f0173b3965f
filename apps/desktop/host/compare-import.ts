import type { ImportedTable } from '@longhold/core/growth';
import {
  mergeGrowthTables,
  mergeStudy,
  readImport,
  type ImportTexts,
  type TouchedPatient,
  type TouchedTable,
} from '@longhold/core/intake';
import type { Study } from '@longhold/core/records';
import type { ImportResult } from './open-study';
import { textsFingerprint } from './texts-fingerprint';

/** What import files would change in a store, and the patients and growth tables to write for it. */
export function compareImport(
  texts: ImportTexts,
  existing: Study,
  tables: readonly ImportedTable[],
): {
  readonly result: ImportResult;
  readonly touched: readonly TouchedPatient[];
  readonly touchedTables: readonly TouchedTable[];
} {
  const fingerprint = textsFingerprint(texts);
  const reading = readImport(texts, existing);
  const merge = reading.ok ? mergeStudy(existing, reading.study) : null;
  const tableMerge = mergeGrowthTables(tables, reading.ok ? reading.tables : []);
  const faults = reading.ok ? (merge?.conflicts ?? []) : reading.faults;
  const sound = merge !== null && faults.length === 0;
  return {
    result: {
      applied: false,
      faults,
      changes: sound ? { ...merge.changes, growthTables: tableMerge.tally } : null,
      fingerprint,
    },
    touched: sound ? merge.touched : [],
    touchedTables: sound ? tableMerge.touched : [],
  };
}
