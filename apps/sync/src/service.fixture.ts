import { execFileSync, type StdioOptions } from 'node:child_process';
import { chmodSync, existsSync, mkdtempSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createHash, randomUUID } from 'node:crypto';
import { Writable } from 'node:stream';
import { pooledRecordSchema, studyDefinitionSchema, type PooledRecord } from '@longhold/core/contribution';
import {
  EPOCH_HEADER,
  PROTOCOL_HEADER,
  PROTOCOL_VERSION,
  versionText,
  type ProcedureName,
  type RecordVersion,
} from '@longhold/core/exchange';
import type { FastifyInstance } from 'fastify';
import { ownThreadUnpacker } from './batch/unpacker';
import { createLog } from './http/log';
import type { ServiceOptions } from './http/options';
import { createService } from './http/server';
import { ownThread, type PoolComputer } from './pool/computer';
import { openStore, type StorePlace } from './store/open-store';
import type { SyncStore } from './store/sync-store';
import { firstCoordinatorCode } from './study/enrolment';

export const MIGRATIONS = join(import.meta.dirname, 'store');

/** Opens a store with the migrations of the sources. */
export function openTestStore(place: StorePlace): Promise<SyncStore> {
  return openStore(place, MIGRATIONS, 'migrations');
}

/** A folder that is removed at the end. */
export function temporaryFolder(afterAll: (work: () => void) => void, within: string = tmpdir()): string {
  const folder = mkdtempSync(join(within, 'longhold-sync-'));
  afterAll(() => rmSync(folder, { recursive: true, force: true }));
  return folder;
}

const MEMORY_DISK = '/dev/shm';

/** Where flushing costs nothing, for tests in which programs crash and the power does not. */
export function quickDisk(): string {
  return existsSync(MEMORY_DISK) ? MEMORY_DISK : tmpdir();
}

/** A PostgreSQL of the test's own. */
export interface PrivatePostgres {
  /** The address of a new, empty database. */
  newDatabase(): string;
  /** Everything in a database as text, as `pg_dump` gives it out. */
  dump(database: string): string;
  /** The folder in which it keeps all of its files. */
  readonly dataFolder: string;
  /** Stops it as a crash would, and starts it again. */
  crash(): void;
  stop(): void;
}

const PROGRAMS = '/usr/lib/postgresql';

/** The programs of the newest PostgreSQL on this machine; null where there is none. */
export function findPostgres(): string | null {
  if (!existsSync(PROGRAMS)) return null;
  const newest = readdirSync(PROGRAMS).sort((a, b) => Number(b) - Number(a))[0];
  return newest === undefined ? null : join(PROGRAMS, newest, 'bin');
}

/**
 * Starts a PostgreSQL that listens on a socket in a folder of its own only. Where it is not told to flush, what it writes
 * survives a crash of its own, though not a cut of the power; a crash then takes no time.
 */
export function startPostgres(programs: string, flushed = false): PrivatePostgres {
  const folder = mkdtempSync(join(tmpdir(), 'longhold-pg-'));
  chmodSync(folder, 0o777);
  const data = join(folder, 'data');
  const run = (name: string, args: readonly string[], output: 'ignore' | 'pipe' = 'ignore'): string => {
    const command = [join(programs, name), ...args];
    // PostgreSQL refuses to run as root.
    const asOther = process.getuid?.() === 0 ? ['runuser', '-u', 'postgres', '--', ...command] : command;
    const [first = '', ...rest] = asOther;
    const streams: StdioOptions = ['ignore', output, 'ignore'];
    const options = { stdio: streams, cwd: folder, maxBuffer: 2 ** 28 };
    return String(execFileSync(first, rest, options) ?? '');
  };
  run('initdb', ['-D', data, '-U', 'longhold', '-A', 'trust', '--no-sync', '-E', 'UTF8']);
  const start = (): string =>
    run('pg_ctl', [
      '-D',
      data,
      '-w',
      '-l',
      join(folder, 'log'),
      '-o',
      `-c listen_addresses='' -c fsync=${flushed ? 'on' : 'off'} -k ${folder}`,
      'start',
    ]);
  start();
  let databases = 0;
  return {
    newDatabase: () => {
      const name = `study${databases++}`;
      run('createdb', ['-h', folder, '-U', 'longhold', name]);
      return `postgresql://longhold@/${name}?host=${encodeURIComponent(folder)}`;
    },
    dump: (database) => run('pg_dump', ['--dbname', database, '--inserts'], 'pipe'),
    dataFolder: data,
    crash: () => {
      run('pg_ctl', ['-D', data, '-w', '-m', 'immediate', 'stop']);
      start();
    },
    stop: () => {
      run('pg_ctl', ['-D', data, '-w', '-m', 'immediate', 'stop']);
      rmSync(folder, { recursive: true, force: true });
    },
  };
}

/** An invented patient; the same number gives the same pseudonym. */
export function inventedRecord(number: number, ageMonths = 150): PooledRecord {
  return pooledRecordSchema.parse({
    pseudonym: createHash('sha256').update(`invented ${number}`).digest('hex').slice(0, 32),
    group: 'treated',
    sex: number % 2 === 0 ? 'female' : 'male',
    ageMonths,
    protocol: null,
    expansion: null,
    maturityStart: 'CS3',
    yearsPassed: 3,
    visits: [
      {
        kind: 'start',
        day: -350,
        values: [{ measure: 'Co-Gn', value: 100.5, films: 1, readings: 1, magnification: 'natural' }],
      },
    ],
    events: [],
  });
}

/** A version of a record, with its digest. */
export function versionOf(
  record: PooledRecord,
  basedOn: string | null = null,
): Extract<RecordVersion, { kind: 'record' }> {
  const version = createHash('sha256').update(versionText(basedOn, record)).digest('hex');
  return { kind: 'record', version, basedOn, record };
}

export const INVENTED_DEFINITION = studyDefinitionSchema.parse({
  measures: ['Co-Gn'],
  threshold: { kind: 'share', share: 0.75 },
  rule: 'confirmed',
  reference: { kind: 'built-in-table' },
  groupBy: 'protocol',
  protocols: [],
  years: [1, 2, 3],
  coarsening: {},
});

/** What came back of a request. */
export interface Reply {
  readonly status: number;
  /** The refusal's code; null where it was answered. */
  readonly reason: string | null;
  readonly data: Record<string, unknown>;
}

/** A service that is asked without a network. */
export interface TestService {
  readonly server: FastifyInstance;
  readonly store: SyncStore;
  readonly logged: () => string;
  /** Moves the service's clock. */
  setClock(now: Date): void;
  /** @param epoch the one in force where none is given */
  ask(name: ProcedureName, input: unknown, token?: string | null, epoch?: string): Promise<Reply>;
  /** A new member with one device; `coordinator` gives the token of the coordinator. */
  enrolled(
    role: 'coordinator' | 'centre' | 'reader',
  ): Promise<{ token: string; member: string; device: string }>;
  close(): Promise<void>;
}

/** `wrap` may put something between the service and its store; `others` are further options of the service. */
export async function testService(
  place: StorePlace,
  computer: PoolComputer = ownThread,
  wrap: (store: SyncStore) => SyncStore = (store) => store,
  others: Partial<Pick<ServiceOptions, 'quiet' | 'unpacker'>> = {},
): Promise<TestService> {
  const store = wrap(await openTestStore(place));
  let lines = '';
  const sink = new Writable({
    write: (chunk: Buffer, _encoding, done) => {
      lines += chunk.toString();
      done();
    },
  });
  let clock = new Date('2026-03-10T10:00:00Z');
  const now = (): Date => clock;
  const server = await createService({
    store,
    now,
    log: createLog(sink),
    computer,
    unpacker: ownThreadUnpacker,
    tls: null,
    trustProxy: false,
    requestTimeout: 1_000,
    requestsAMinute: 100_000,
    enrolmentsAMinute: 100_000,
    ...others,
  });
  let inForce: string | undefined;
  const ask: TestService['ask'] = async (name, input, token = null, known) => {
    // While the database is down the one from before holds.
    inForce = (await store.read((reader) => reader.study()).catch(() => null))?.epoch ?? inForce;
    const epoch = known ?? inForce;
    const reply = await server.inject({
      method: 'POST',
      url: `/rpc/${name}`,
      headers: {
        'content-type': 'application/json',
        [PROTOCOL_HEADER]: String(PROTOCOL_VERSION),
        ...(epoch === undefined ? {} : { [EPOCH_HEADER]: epoch }),
        ...(token === null ? {} : { authorization: `Bearer ${token}` }),
      },
      payload: JSON.stringify(input),
    });
    return replyOf(reply.statusCode, reply.body);
  };
  const enrolWith = async (code: unknown) => {
    const { data } = await ask('enrol', { code });
    return { token: String(data['token']), member: String(data['member']), device: String(data['device']) };
  };
  const first = await firstCoordinatorCode(store, now);
  const coordinator = first === null ? null : await enrolWith(first.code);
  return {
    server,
    store,
    logged: () => lines,
    setClock: (moment) => {
      clock = moment;
    },
    ask,
    enrolled: async (role) => {
      if (coordinator === null) throw new Error('this study has a coordinator already');
      if (role === 'coordinator') return coordinator;
      const { data } = await ask('invite', { role, member: null }, coordinator.token);
      return enrolWith(data['code']);
    },
    close: async () => {
      await server.close();
      await store.close();
    },
  };
}

/** Reads an answer or a refusal. */
export function replyOf(status: number, body: string): Reply {
  const content: unknown = JSON.parse(body);
  const error: unknown = Reflect.get(Object(content), 'error');
  if (error !== undefined) {
    const reason: unknown = Reflect.get(Object(Reflect.get(Object(error), 'data')), 'reason');
    return { status, reason: String(reason), data: {} };
  }
  const data: unknown = Reflect.get(Object(Reflect.get(Object(content), 'result')), 'data');
  return { status, reason: null, data: Object.fromEntries(Object.entries(Object(data))) };
}

/** A batch under definition 1. */
export function batchOf(items: readonly RecordVersion[], batch: string = randomUUID()) {
  return { batch, definition: 1, items };
}
