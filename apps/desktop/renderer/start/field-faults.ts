import type { Failure } from '../state/failure';

/** Where on a store form a failure belongs. */
export type StoreField = 'path' | 'passphrase' | 'form';

const FIELD_OF: Readonly<Record<string, StoreField>> = {
  'wrong-passphrase': 'passphrase',
  'weak-passphrase': 'passphrase',
  'store-missing': 'path',
  'store-exists': 'path',
  'store-folder-missing': 'path',
  'store-damaged': 'path',
  'store-newer': 'path',
  'store-busy': 'path',
  'key-file-missing': 'path',
  'key-file-damaged': 'path',
  'not-writable': 'path',
};

/** The message of a failure for one field of a store form; null when it belongs elsewhere. */
export function faultAt(field: StoreField, failure: Failure | null): string | null {
  if (failure === null) return null;
  return (FIELD_OF[failure.reason] ?? 'form') === field ? failure.message : null;
}
