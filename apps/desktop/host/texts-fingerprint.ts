import { createHash } from 'node:crypto';
import type { ImportTexts } from '@longhold/core/intake';

/** SHA-256 over the files of an import; a file that was not given counts as such, not as empty. */
export function textsFingerprint(texts: ImportTexts): string {
  const hash = createHash('sha256');
  for (const text of [texts.patients, texts.measurements, texts.events, texts.growthTables ?? null]) {
    hash.update(text === null ? 'absent' : `${text.length}:${text}`);
    hash.update('\0');
  }
  return hash.digest('hex');
}
