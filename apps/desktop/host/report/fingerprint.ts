import { createHash } from 'node:crypto';
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
  const orders: KeyOrders = new Map();
  for (const history of inFileOrder(study)) {
    hash.update(`${JSON.stringify(inKeyOrder(history, orders))}\n`, 'utf8');
  }
  for (const text of tables.map(growthTableText).sort()) hash.update(`${text}\n`, 'utf8');
  return `sha256:${hash.digest('hex')}`;
}

/** Keys of objects in code-unit order, by the keys as they come: records have few shapes, each many times. */
type KeyOrders = Map<string, readonly string[]>;

/** The same value with the keys of every object in code-unit order, so that equal values give equal JSON. */
function inKeyOrder(value: unknown, orders: KeyOrders): unknown {
  if (Array.isArray(value)) return value.map((member) => inKeyOrder(member, orders));
  if (!isObject(value)) return value;
  const ordered: Record<string, unknown> = {};
  for (const key of sortedKeys(value, orders)) ordered[key] = inKeyOrder(value[key], orders);
  return ordered;
}

function sortedKeys(value: object, orders: KeyOrders): readonly string[] {
  const keys = Object.keys(value);
  const shape = keys.join();
  const known = orders.get(shape);
  if (known !== undefined) return known;
  const sorted = keys.sort((a, b) => (a < b ? -1 : 1));
  orders.set(shape, sorted);
  return sorted;
}

function isObject(value: unknown): value is Readonly<Record<string, unknown>> {
  return value !== null && typeof value === 'object';
}
