import { StoreError, type StoreErrorCode } from './errors';

/** Codes of the database and of the file system, and what they mean to the user of a store. */
const MEANINGS: readonly [pattern: RegExp, code: StoreErrorCode, detail: string | null][] = [
  [/^SQLITE_NOTADB/, 'store-damaged', 'its beginning is damaged, or the key file belongs to another store'],
  // Our statements fit the tables of a store, so a statement that does not means that they are not what they were.
  [/^SQLITE_(ERROR|SCHEMA|MISMATCH)/, 'store-damaged', 'its tables are not those of a store'],
  [/^SQLITE_(CORRUPT|FORMAT)/, 'store-damaged', 'pages of the file contradict each other'],
  [/^SQLITE_(BUSY|LOCKED|PROTOCOL)/, 'store-busy', null],
  // A write the file system refuses without naming a full disk is a quota or a file-size limit.
  [/^SQLITE_(FULL|IOERR_WRITE|IOERR_SHMSIZE|IOERR_TRUNCATE)/, 'disk-full', null],
  [/^(ENOSPC|EDQUOT|EFBIG)$/, 'disk-full', null],
  [/^SQLITE_(READONLY|PERM|CANTOPEN)/, 'not-writable', null],
  [/^(EACCES|EPERM|EROFS)$/, 'not-writable', null],
];

/**
 * Turns whatever the driver or the file system threw into a StoreError about `path`. Errors that come from neither
 * (slips of the programmer) pass unchanged.
 */
export function toStoreError(thrown: unknown, path: string): unknown {
  if (thrown instanceof StoreError) return thrown;
  const systemCode = findSystemCode(thrown);
  if (systemCode === null) return thrown;
  for (const [pattern, code, detail] of MEANINGS) {
    if (pattern.test(systemCode)) return new StoreError(code, path, detail);
  }
  return new StoreError('io', path, systemCode);
}

/** Runs a task and converts what it throws; the one gate through which faults leave the store. */
export async function withStoreErrors<T>(path: string, task: () => Promise<T>): Promise<T> {
  try {
    return await task();
  } catch (thrown) {
    throw toStoreError(thrown, path);
  }
}

/** The most telling `SQLITE_...` or `E...` code in an error or its causes; null when there is none. */
function findSystemCode(thrown: unknown): string | null {
  let current: unknown = thrown;
  for (let depth = 0; depth < 6 && current instanceof Error; depth++) {
    for (const name of ['extendedCode', 'code'] as const) {
      const value: unknown = Reflect.get(current, name);
      if (typeof value === 'string' && /^(SQLITE_|E[A-Z0-9]+$)/.test(value)) return value;
    }
    current = current.cause;
  }
  return null;
}
