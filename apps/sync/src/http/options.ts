import type { PoolComputer } from '../pool/computer';
import type { Unpacker } from '../batch/unpacker';
import type { SyncStore } from '../store/sync-store';
import type { Log } from './log';

/** How a service is run. */
export interface ServiceOptions {
  readonly store: SyncStore;
  readonly now: () => Date;
  readonly log: Log;
  /** Ended with the service. */
  readonly computer: PoolComputer;
  /** Ended with the service. */
  readonly unpacker: Unpacker;
  /** Certificate and key as PEM; null to speak plain HTTP, behind a proxy that speaks TLS. */
  readonly tls: { readonly certificate: string; readonly key: string } | null;
  /** Whether the address of the asker is taken from the proxy's X-Forwarded-For. */
  readonly trustProxy: boolean;
  /** Requests a minute from one address. */
  readonly requestsAMinute: number;
  /** Milliseconds within which a request must have come in whole; two minutes where not given. */
  readonly requestTimeout?: number;
  /** Milliseconds without a change before a changed centre's statistics are made unasked; five seconds, a minute at most, where not given. */
  readonly quiet?: { readonly least: number; readonly most: number };
  /** Attempts to enrol a minute from one address. */
  readonly enrolmentsAMinute: number;
}
