import type { Failure } from '../state/failure';

/** Where on a store form a failure belongs. */
export type StoreField = 'path' | 'passphrase' | 'form';

const FIELD_OF: Readonly<Record<string, StoreField>> = {
  'wrong-passphrase': 'passphrase',
  'store-missing': 'path',
  'store-exists': 'path',
  'store-damaged': 'path',
  'store-newer': 'path',
  'store-busy': 'path',
  'key-file-missing': 'path',
};

/** The message of a failure for one field of a store form; null when it belongs elsewhere. */
export function faultAt(field: StoreField, failure: Failure | null): string | null {
  if (failure === null) return null;
  return (FIELD_OF[failure.reason] ?? 'form') === field ? failure.message : null;
}

/** What is wrong with a new passphrase typed twice; null when nothing is. */
export function passphraseFault(
  passphrase: string,
  again: string,
): { at: 'first' | 'again'; message: string } | null {
  if (passphrase.length < 12) {
    return { at: 'first', message: 'Use at least 12 characters; several words in a row are good.' };
  }
  return passphrase === again ? null : { at: 'again', message: 'The two are not the same. Type it again.' };
}
