import { execFile, spawn, type ChildProcess } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pooledRecordSchema } from '@longhold/core/contribution';
import { createStore } from '@longhold/desktop/host/store';
import { MIGRATIONS_FOLDER, QUICK_COSTS } from '@longhold/desktop/host/store/store.fixture';

import { z } from 'zod';

/*
 * Clinics and the pooling service as processes of their own, over loopback.
 */

export const LONGHOLD = new URL('../../apps/desktop/dist/cli/longhold.cjs', import.meta.url).pathname;
const SYNC = new URL('../../apps/sync/dist/sync.mjs', import.meta.url).pathname;
const CODE = /[2-9A-HJ-NP-Z]{6}(-[2-9A-HJ-NP-Z]{6}){3}/;

export const PASSPHRASE = 'invented passphrase';
/** How a command ends when the service refuses or can't be reached. */
export const SERVICE_FAULT = 6;

/** How a command ended, and what it printed. */
export interface Ended {
  readonly code: number;
  readonly out: string;
  readonly err: string;
}

/** A folder that is removed at the end. */
export function poolingFolder(afterAll: (work: () => void) => void): string {
  const folder = mkdtempSync(join(tmpdir(), 'longhold-pooling-'));
  afterAll(() => rmSync(folder, { recursive: true, force: true }));
  return folder;
}

/** Runs the command line to its end. */
export function longhold(words: readonly string[], variables: Record<string, string> = {}): Promise<Ended> {
  return run(LONGHOLD, words, { LONGHOLD_PASSPHRASE: PASSPHRASE, ...variables });
}

/** Starts the command line, to be killed on the way. */
export function startLonghold(words: readonly string[]): ChildProcess {
  const env = { ...process.env, LONGHOLD_PASSPHRASE: PASSPHRASE };
  return spawn(process.execPath, [LONGHOLD, ...words], { env, stdio: 'ignore' });
}

function run(program: string, words: readonly string[], variables: Record<string, string>): Promise<Ended> {
  const options = { env: { ...process.env, ...variables }, timeout: 60_000, maxBuffer: 2 ** 26 };
  return new Promise((resolve) => {
    const child = execFile(process.execPath, [program, ...words], options, (error, out, err) => {
      resolve({ code: typeof error?.code === 'number' ? error.code : error === null ? 0 : -1, out, err });
    });
    child.stdin?.end();
  });
}

/** A service that is listening. */
export interface Service {
  readonly address: string;
  /** What it wrote to its log, and what it said. */
  said(): string;
  /** Ends it as a person would. */
  stop(): Promise<void>;
}

/** The service's programs on one store. */
export interface ServicePrograms {
  readonly storeFile: string;
  start(): Promise<Service>;
  /** The coordinator's first enrolment code; said at the first start. */
  coordinatorCode(): string;
  command(...words: readonly string[]): Promise<Ended>;
}

export function servicePrograms(folder: string, storeName = 'pool.sqlite'): ServicePrograms {
  const storeFile = join(folder, storeName);
  const variables = {
    LONGHOLD_SYNC_STORE: storeFile,
    LONGHOLD_SYNC_PORT: '0',
    LONGHOLD_SYNC_ENROLMENTS_A_MINUTE: '1000',
    LONGHOLD_SYNC_REQUESTS_A_MINUTE: '100000',
  };
  let said = '';
  return {
    storeFile,
    coordinatorCode: () => CODE.exec(said)?.[0] ?? '',
    command: (...words) => run(SYNC, words, variables),
    start: async () => {
      const child = spawn(process.execPath, [SYNC], {
        env: { ...process.env, ...variables },
        stdio: ['ignore', 'pipe', 'pipe'],
      });
      const ended = new Promise<void>((resolve) => child.on('close', () => resolve()));
      const address = await new Promise<string>((resolve, reject) => {
        child.stderr.setEncoding('utf8').on('data', (text: string) => (said += text));
        child.stdout.setEncoding('utf8').on('data', (text: string) => {
          said += text;
          const found = /Listening on (\S+)/.exec(text)?.[1];
          if (found !== undefined) resolve(found);
        });
        void ended.then(() => reject(new Error(`the service did not start: ${said}`)));
      });
      return {
        address,
        said: () => said,
        stop: () => {
          child.kill('SIGTERM');
          return ended;
        },
      };
    },
  };
}

const previewedRowSchema = z.looseObject({
  code: z.string(),
  inPool: pooledRecordSchema.nullable(),
  record: pooledRecordSchema,
});
type PreviewedRow = z.infer<typeof previewedRowSchema>;

/** One desktop of a clinic: a store and the commands on it. */
export interface Desktop {
  readonly store: string;
  /** Runs `longhold pool …` on the store and reads what it printed. @throws Error unless it ended with 0 */
  pool(...words: readonly string[]): Promise<Record<string, unknown>>;
  /** The same, however it ends. */
  tryPool(...words: readonly string[]): Promise<Ended>;
  link(address: string, code: string, sends?: 'records' | 'statistics'): Promise<Record<string, unknown>>;
  /** Brings files into the store, changed on their way. */
  bringIn(files: string, change?: (text: string, name: string) => string): Promise<void>;
  /** Every record that would leave or has left, as the preview gives them out. */
  records(): Promise<readonly PreviewedRow[]>;
  /** Confirms and sends what the preview shows; returns the preview. */
  send(): Promise<Record<string, unknown>>;
}

export function desktop(folder: string, name: string): Desktop {
  const store = join(folder, `${name}.longhold`);
  const tryPool = (...words: readonly string[]): Promise<Ended> =>
    longhold(['pool', ...words, '--store', store]);
  const pool = async (...words: readonly string[]): Promise<Record<string, unknown>> =>
    answerOf(await tryPool(...words));
  return {
    store,
    pool,
    tryPool,
    link: async (address, code, sends = 'records') =>
      answerOf(
        await longhold(['pool', 'link', '--address', address, '--sends', sends, '--store', store], {
          LONGHOLD_ENROLMENT_CODE: code,
        }),
      ),
    bringIn: async (files, change = (text) => text) => {
      if (!existsSync(store)) await createQuickStore(store);
      const changed = mkdtempSync(join(folder, 'files-'));
      for (const file of ['patients.csv', 'measurements.csv', 'events.csv']) {
        writeFileSync(join(changed, file), change(readFileSync(join(files, file), 'utf8'), file));
      }
      const ended = await longhold(['import', changed, '--store', store]);
      if (ended.code !== 0) throw new Error(`the import ended with ${ended.code}: ${ended.err}`);
    },
    records: async () => {
      const out = join(folder, `${name} records.json`);
      await pool('preview', '--records', out);
      return z.array(previewedRowSchema).parse(JSON.parse(readFileSync(out, 'utf8')));
    },
    send: async () => {
      const preview = await pool('preview');
      await pool('send', '--confirm', String(preview['digest']));
      return preview;
    },
  };
}

/** A store whose passphrase is cheap to try, so that it opens at once; a real one is never made so. */
async function createQuickStore(path: string): Promise<void> {
  const options = {
    path,
    passphrase: PASSPHRASE,
    migrationsFolder: MIGRATIONS_FOLDER,
    scryptCosts: QUICK_COSTS,
  };
  await (await createStore(options)).close();
}

function answerOf({ code, out, err }: Ended): Record<string, unknown> {
  if (code !== 0) throw new Error(`the command ended with ${code}: ${err}`);
  const answer: unknown = JSON.parse(out);
  return Object.fromEntries(Object.entries(Object(answer)));
}

/** Writes the files of an invented clinic; returns their folder. */
export async function inventedFiles(
  folder: string,
  name: string,
  seed: number,
  patients: number,
): Promise<string> {
  const files = join(folder, name);
  await longhold(['demo', '--seed', String(seed), '--patients', String(patients), '--out', files]);
  return files;
}

/** A coordinator's store with a published study definition; returns how to invite. */
export async function coordinate(
  folder: string,
  service: Service,
  code: string,
  definition: unknown,
): Promise<{ readonly coordinator: Desktop; invite(role: string): Promise<string> }> {
  const coordinator = desktop(folder, 'coordinator');
  await coordinator.bringIn(await inventedFiles(folder, 'coordinator files', 99, 1));
  await coordinator.link(service.address, code);
  await publish(folder, coordinator, definition);
  return {
    coordinator,
    invite: async (role) => String((await coordinator.pool('invite', role))['code']),
  };
}

/** Publishes the next version of the study definition. */
export async function publish(folder: string, coordinator: Desktop, definition: unknown): Promise<void> {
  const file = join(folder, 'definition.json');
  writeFileSync(file, JSON.stringify(definition));
  await coordinator.pool('publish', file);
}

/** An invented study group's definition. */
export const DEFINITION = {
  measures: ['Co-Gn', 'SNB'],
  threshold: { kind: 'share', share: 0.75 },
  rule: 'confirmed',
  reference: { kind: 'own-untreated-series' },
  groupBy: 'protocol',
  protocols: ['PLATE', 'FIXED'],
  years: [1, 2, 3],
  smallestCell: 3,
  coarsening: { smallestGroup: 3 },
} as const;
