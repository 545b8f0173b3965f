import pino, { type DestinationStream, type Logger } from 'pino';

/** Everything that may stand in a line of the log. No address, member, token, key, payload or count of records. */
export interface LogFields {
  readonly procedure?: string;
  /** The refusal's code, or `ok`. */
  readonly outcome?: string;
  readonly status?: number;
  readonly milliseconds?: number;
  /** The driver's or the system's code of a fault. */
  readonly fault?: string;
  readonly port?: number;
  readonly store?: 'sqlite' | 'postgres';
}

export interface Log {
  info(message: string, fields?: LogFields): void;
  error(message: string, fields?: LogFields): void;
}

const FIELDS = ['procedure', 'outcome', 'status', 'milliseconds', 'fault', 'port', 'store'] as const;

/** A log of JSON lines. Only the listed fields get in, whatever an object carries beside them. */
export function createLog(destination: DestinationStream): Log {
  const logger: Logger = pino({ base: null, timestamp: pino.stdTimeFunctions.isoTime }, destination);
  return {
    info: (message, fields = {}) => logger.info(allowed(fields), message),
    error: (message, fields = {}) => logger.error(allowed(fields), message),
  };
}

/** A log that keeps nothing. */
export const silentLog: Log = { info: () => undefined, error: () => undefined };

function allowed(fields: LogFields): Record<string, string | number> {
  const kept: Record<string, string | number> = {};
  for (const name of FIELDS) {
    const value = fields[name];
    if (value !== undefined) kept[name] = value;
  }
  return kept;
}
