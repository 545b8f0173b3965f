import { readFileSync } from 'node:fs';
import { resolve } from 'node:path';
import { z } from 'zod';
import type { ComputerLimits } from '../pool/process-computer';
import type { StorePlace } from '../store/open-store';

/** A mistake in how the program was started; the message says what would be right. */
export class UsageError extends Error {}

const DEFAULT_PORT = 8460;
/** The pool of all centres may take this many times as long as one centre. */
const POOL_TO_CENTRE = 5;

/** What the environment may say; every name is listed in docs/pooling-service.md. */
const environmentSchema = z.object({
  DATABASE_URL: z.string().optional(),
  LONGHOLD_SYNC_STORE: z.string().default('longhold-sync.sqlite'),
  LONGHOLD_SYNC_HOST: z.string().default('127.0.0.1'),
  LONGHOLD_SYNC_PORT: z.coerce.number().int().min(0).max(65_535).default(DEFAULT_PORT),
  LONGHOLD_SYNC_CERTIFICATE: z.string().optional(),
  LONGHOLD_SYNC_KEY: z.string().optional(),
  LONGHOLD_SYNC_TRUST_PROXY: z.enum(['0', '1']).default('0'),
  LONGHOLD_SYNC_REQUESTS_A_MINUTE: z.coerce.number().int().min(1).default(600),
  LONGHOLD_SYNC_ENROLMENTS_A_MINUTE: z.coerce.number().int().min(1).default(10),
  LONGHOLD_SYNC_SECONDS_A_CENTRE: z.coerce.number().int().min(1).max(86_400).default(120),
  LONGHOLD_SYNC_MEGABYTES: z.coerce.number().int().min(256).max(1_000_000).default(2_048),
});

/** How the program was told to run. */
export interface Settings {
  readonly place: StorePlace;
  readonly host: string;
  readonly port: number;
  readonly tls: { readonly certificate: string; readonly key: string } | null;
  readonly trustProxy: boolean;
  readonly requestsAMinute: number;
  readonly enrolmentsAMinute: number;
  /** What the computation of pooled answers may cost. */
  readonly computing: ComputerLimits;
}

/** The settings in an environment. @throws UsageError that names what does not fit. */
export function readSettings(environment: Readonly<Record<string, string | undefined>>): Settings {
  const parsed = environmentSchema.safeParse(environment);
  if (!parsed.success) {
    const parts = parsed.error.issues.map(({ path, message }) => `${path.join('.')}: ${message}`);
    throw new UsageError(`The settings do not fit: ${parts.join('; ')}.`);
  }
  const given = parsed.data;
  const place: StorePlace =
    given.DATABASE_URL === undefined || given.DATABASE_URL === ''
      ? { kind: 'sqlite', path: resolve(given.LONGHOLD_SYNC_STORE) }
      : { kind: 'postgres', url: given.DATABASE_URL };
  return {
    place,
    host: given.LONGHOLD_SYNC_HOST,
    port: given.LONGHOLD_SYNC_PORT,
    tls: readTls(given.LONGHOLD_SYNC_CERTIFICATE, given.LONGHOLD_SYNC_KEY),
    trustProxy: given.LONGHOLD_SYNC_TRUST_PROXY === '1',
    requestsAMinute: given.LONGHOLD_SYNC_REQUESTS_A_MINUTE,
    enrolmentsAMinute: given.LONGHOLD_SYNC_ENROLMENTS_A_MINUTE,
    computing: {
      centre: 1_000 * given.LONGHOLD_SYNC_SECONDS_A_CENTRE,
      pool: POOL_TO_CENTRE * 1_000 * given.LONGHOLD_SYNC_SECONDS_A_CENTRE,
      memory: given.LONGHOLD_SYNC_MEGABYTES,
    },
  };
}

function readTls(certificate: string | undefined, key: string | undefined): Settings['tls'] {
  if (certificate === undefined && key === undefined) return null;
  if (certificate === undefined || key === undefined) {
    throw new UsageError('Give both LONGHOLD_SYNC_CERTIFICATE and LONGHOLD_SYNC_KEY, or neither.');
  }
  return { certificate: readPem(certificate), key: readPem(key) };
}

function readPem(path: string): string {
  try {
    return readFileSync(path, 'utf8');
  } catch {
    throw new UsageError(`The file ${path} cannot be read.`);
  }
}
