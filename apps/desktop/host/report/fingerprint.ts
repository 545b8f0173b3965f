import { createHash } from 'node:crypto';
import { canonicalJson } from '@longhold/core/exchange';
import type { ImportedTable } from '@longhold/core/growth';
import { growthTableText, inFileOrder } from '@longhold/core/intake';
import type { Study } from '@longhold/core/records';

/**
 * Fingerprint of a study: `sha256:` and the SHA-256 (FIPS 180-4) of its records as canonical JSON, one patient a
 * line, in the order of the import files, then imported growth tables, one a line. The same records give the same
 * fingerprint, whatever their order.
 */
export function studyFingerprint(study: Study, tables: readonly ImportedTable[] = []): string {
  const hash = createHash('sha256');
  for (const history of inFileOrder(study)) hash.update(`${canonicalJson(history)}\n`, 'utf8');
  for (const text of tables.map(growthTableText).sort()) hash.update(`${text}\n`, 'utf8');
  return `sha256:${hash.digest('hex')}`;
}
