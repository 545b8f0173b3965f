/** Why a store could not do what it was asked. */
export type StoreErrorCode =
  'busy' | 'disk-full' | 'not-writable' | 'unreachable' | 'newer' | 'damaged' | 'fault';

const SENTENCES: Record<StoreErrorCode, string> = {
  busy: 'Another program holds the store and did not let go in time.',
  'disk-full': 'There is no room left to write the store.',
  'not-writable': 'The store cannot be opened or written: check the path and its permissions.',
  unreachable: 'The database does not answer.',
  newer: 'The store was made by a newer version of this program; start that version.',
  damaged: 'The store is damaged; go back to a backup.',
  fault: 'The database met a fault.',
};

/**
 * A fault of the store, safe to show and to log. It carries no cause, because the errors of drivers quote statements
 * and values.
 */
export class StoreError extends Error {
  readonly code: StoreErrorCode;
  /** The driver's own code, such as SQLITE_FULL or 57P01; null where it gave none. */
  readonly driverCode: string | null;

  constructor(code: StoreErrorCode, driverCode: string | null = null) {
    super(driverCode === null ? SENTENCES[code] : `${SENTENCES[code]} (${driverCode})`);
    this.name = 'StoreError';
    this.code = code;
    this.driverCode = driverCode;
  }
}

const MEANINGS: readonly [pattern: RegExp, code: StoreErrorCode][] = [
  [/^(SQLITE_(BUSY|LOCKED|PROTOCOL).*|55P03)$/, 'busy'],
  [/^SQLITE_(FULL|IOERR_WRITE|IOERR_SHMSIZE|IOERR_TRUNCATE)/, 'disk-full'],
  [/^(ENOSPC|EDQUOT|EFBIG|53100)$/, 'disk-full'],
  [/^SQLITE_(READONLY|PERM|CANTOPEN)/, 'not-writable'],
  [/^(EACCES|EPERM|EROFS|ENOENT)$/, 'not-writable'],
  [/^SQLITE_(NOTADB|CORRUPT|FORMAT)/, 'damaged'],
  // Class 08 is the connection; 57P is a server that stops or starts; 53300 is one with no connection left;
  // 25P03 is a transaction that was given up on.
  [/^(08...|57P..|53300|25P03|ECONNREFUSED|ECONNRESET|ETIMEDOUT|EPIPE|ENOTFOUND)$/, 'unreachable'],
];

/** The driver's code somewhere in an error or its causes; null where there is none. */
export function driverCodeOf(thrown: unknown): string | null {
  let current: unknown = thrown;
  for (let depth = 0; depth < 6 && current instanceof Error; depth++) {
    for (const name of ['extendedCode', 'code'] as const) {
      const value: unknown = Reflect.get(current, name);
      if (typeof value === 'string' && /^(SQLITE_[A-Z_]+|E[A-Z0-9]+|[0-9A-Z]{5})$/.test(value)) return value;
    }
    current = current.cause;
  }
  return null;
}

/** Words of a driver that lost its connection without giving a code. */
const CONNECTION_LOST =
  /Connection terminated|connection timeout|timeout exceeded when trying to connect|read timeout/i;

/** Turns what a driver threw into a StoreError. What comes from elsewhere passes unchanged. */
export function toStoreError(thrown: unknown): unknown {
  if (thrown instanceof StoreError) return thrown;
  const driverCode = driverCodeOf(thrown);
  for (let current: unknown = thrown; current instanceof Error; current = current.cause) {
    if (CONNECTION_LOST.test(current.message)) return new StoreError('unreachable', driverCode);
  }
  if (driverCode === null) return thrown;
  const meaning = MEANINGS.find(([pattern]) => pattern.test(driverCode));
  return new StoreError(meaning?.[1] ?? 'fault', driverCode);
}
