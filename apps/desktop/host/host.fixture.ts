import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { demoFiles } from '@longhold/demo';
import { Host, type HostOptions } from './host';

/** A passphrase of no one. */
export const PASSPHRASE = 'one long invented passphrase';

export const MIGRATIONS = join(import.meta.dirname, 'store', 'migrations');

/** A folder of a test's own. */
export function makeFolder(): { readonly folder: string; readonly remove: () => void } {
  const folder = mkdtempSync(join(tmpdir(), 'longhold-host-'));
  return { folder, remove: () => rmSync(folder, { recursive: true, force: true }) };
}

/** What a host of a test is made of; it has no thread to compute in. */
export function hostOptions(folder: string): HostOptions {
  return {
    version: '0.0.0',
    migrationsFolder: MIGRATIONS,
    workerFile: join(folder, 'no-worker.cjs'),
    storesFolder: join(folder, 'stores'),
    clock: () => new Date('2026-06-30T12:00:00Z'),
  };
}

export function makeHost(folder: string): Host {
  return new Host(hostOptions(folder));
}

const files = demoFiles({ seed: 5, patients: 10 });

/** Import files of a small invented study. */
export const TEXTS = {
  patients: files['patients.csv'],
  measurements: files['measurements.csv'],
  events: files['events.csv'],
};
