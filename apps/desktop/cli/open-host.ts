import { existsSync } from 'node:fs';
import { resolve } from 'node:path';
import type { Bundle } from '../host/bundle';
import { toFailure, type FailureReason } from '../host/failure';
import { Host } from '../host/host';
import { STORE_ERROR_CODES, StoreError } from '../host/store';
import { CommandFault, EXIT, type ExitCode } from './command-fault';

/** Runs work on a host that is closed afterwards, whatever happens. */
export async function withHost<T>(bundle: Bundle, work: (host: Host) => Promise<T>): Promise<T> {
  const host = new Host({ ...bundle, actor: 'command line' });
  try {
    return await work(host);
  } finally {
    await host.close();
  }
}

/** The full path of a store that was named on the command line. */
export function storePath(named: string): string {
  return resolve(named);
}

/** The same of a store that has to be there: asking for the passphrase of one that is not would be odd. */
export function existingStorePath(named: string): string {
  const path = storePath(named);
  if (existsSync(path)) return path;
  throw new StoreError('store-missing', path);
}

/** What a command ends with for a failure of the host. */
export function faultOfHost(thrown: unknown): CommandFault {
  if (thrown instanceof CommandFault) return thrown;
  const { reason, message } = toFailure(thrown);
  return new CommandFault(exitCodeOf(reason), message);
}

/** What the user asked for does not fit; nothing is broken. */
const WRONG_USE: readonly FailureReason[] = [
  'invalid-input',
  'demo-is-fixed',
  'not-linked',
  'already-linked',
  'link-file-damaged',
  'pooling-busy',
  'withdrawals-wait',
];

function exitCodeOf(reason: FailureReason): ExitCode {
  if (
    reason === 'service-refused' ||
    reason === 'service-unreachable' ||
    reason === 'preview-changed' ||
    reason === 'sending-refused'
  ) {
    return EXIT.serviceFault;
  }
  if (WRONG_USE.some((wrong) => wrong === reason)) return EXIT.wrongUse;
  return STORE_ERROR_CODES.some((code) => code === reason) ? EXIT.storeFault : EXIT.internal;
}
