import { createHash, randomUUID } from 'node:crypto';
import { mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { cpus, tmpdir } from 'node:os';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { Agent, request } from 'node:http';
import { createClient } from '@libsql/client';
import { canonicalJson, versionText, type PushInput } from '@longhold/core/exchange';
import { Client } from 'pg';
import { INVENTED_DEFINITION, findPostgres, startPostgres } from '../../apps/sync/src/service.fixture';
import { inventedRecords } from '../../packages/core/src/pooled/invented-centres.fixture';
import { askService, freePort, startService, type ServiceProcess } from '../faults/sync-service';

/**
 * Times how many records the pooling service stores durably over loopback, against plain inserts of the same rows in the
 * same batches into the same tables of the same database with the same flushing. Plain inserts leave out all else that
 * the service does: to receive, read, check and digest records, to look up what it holds of the patients, to write down
 * the batch and the audit, and to answer. Then 200 centres at once. Prints a table; nothing is asserted.
 * `-- --on postgres` takes PostgreSQL, `--batches N` the number of batches.
 */
const words = process.argv.slice(2);
const option = (name: string, other: string): string => {
  const place = words.indexOf(`--${name}`);
  return place < 0 ? other : (words[place + 1] ?? other);
};
const BATCHES = Number(option('batches', '40'));
const BATCH = 500;
const CENTRES = 200;
const ON_POSTGRES = option('on', 'sqlite') === 'postgres';
const MIB = 2 ** 20;

interface Prepared {
  readonly input: PushInput;
  readonly body: string;
}

/** Batches of invented records, made before the clock starts. */
function prepare(batches: number, size: number, seed: number): Prepared[] {
  const records = inventedRecords({ patients: batches * size, seed });
  return Array.from({ length: batches }, (_unused, index) => {
    const items = records.slice(index * size, (index + 1) * size).map((record) => ({
      kind: 'record' as const,
      version: createHash('sha256').update(versionText(null, record)).digest('hex'),
      basedOn: null,
      record,
    }));
    const input = { batch: randomUUID(), definition: 1, items };
    return { input, body: JSON.stringify(input) };
  });
}

const agent = new Agent({ keepAlive: true, maxSockets: CENTRES });

/** Posts a prepared body as it is, so that making JSON does not count. */
function post(port: number, body: string, token: string): Promise<void> {
  return new Promise((resolve, reject) => {
    const sent = request(
      {
        agent,
        port,
        host: '127.0.0.1',
        method: 'POST',
        path: '/rpc/push',
        headers: {
          'content-type': 'application/json',
          'content-length': Buffer.byteLength(body),
          'longhold-protocol': '1',
          authorization: `Bearer ${token}`,
        },
      },
      (reply) => {
        reply.resume().on('end', () => {
          if (reply.statusCode === 200) resolve();
          else reject(new Error(`refused with ${reply.statusCode}`));
        });
      },
    );
    sent.on('error', reject).end(body);
  });
}

function residentBytes({ process: child }: ServiceProcess): number {
  const status = readFileSync(`/proc/${child.pid}/status`, 'utf8');
  return Number(/VmRSS:\s+(\d+) kB/.exec(status)?.[1] ?? 0) * 1024;
}

/** Microseconds of a processor that each thread of the service has used so far, by thread; its first one is the process. */
function threadTimes({ process: child }: ServiceProcess): ReadonlyMap<string, number> {
  const tasks = `/proc/${child.pid}/task`;
  return new Map(
    readdirSync(tasks).map((task) => {
      // After the name in brackets; a tick is a hundredth of a second.
      const fields =
        readFileSync(join(tasks, task, 'stat'), 'utf8')
          .split(') ')
          .at(-1)
          ?.split(' ') ?? [];
      return [task, (Number(fields[11]) + Number(fields[12])) * 10_000];
    }),
  );
}

/** Microseconds of a processor a record since `before`: of the thread that answers and stores, and of all. */
function timesSince(service: ServiceProcess, before: ReadonlyMap<string, number>, records: number) {
  const used = [...threadTimes(service)].map(
    ([task, time]) => [task, (time - (before.get(task) ?? 0)) / records] as const,
  );
  return {
    first: used.find(([task]) => task === String(service.process.pid))?.[1] ?? 0,
    all: used.reduce((sum, [, time]) => sum + time, 0),
  };
}

type Rows = readonly (readonly (string | number | null)[])[];

function rowsOf({ input }: Prepared, first: number): Rows {
  return input.items.map((item, index) => {
    if (item.kind !== 'record') throw new Error('the bench sends records only');
    const { version, record } = item;
    return ['member', version, record.pseudonym, null, first + index, input.batch, 1, canonicalJson(record)];
  });
}

const COLUMNS = 'member, version, pseudonym, based_on, sequence, batch, definition, body';

/** Rows a second of plain inserts, a transaction for each batch, into an empty store with the service's own tables. */
async function plainSqlite(path: string, prepared: readonly Rows[]): Promise<number> {
  const client = createClient({ url: pathToFileURL(path).href, concurrency: 1 });
  for (const pragma of [
    'synchronous = FULL',
    'secure_delete = ON',
    'foreign_keys = ON',
    'journal_mode = WAL',
  ]) {
    await client.execute(`PRAGMA ${pragma}`);
  }
  await client.execute("INSERT INTO members (id, role) VALUES ('member', 'centre')");
  await client.execute("INSERT INTO definitions (version, body) VALUES (1, '{}')");
  const began = performance.now();
  for (const rows of prepared) {
    const marks = rows.map(() => '(?,?,?,?,?,?,?,?)').join(',');
    const transaction = await client.transaction('write');
    await transaction.execute({
      sql: `INSERT INTO versions (${COLUMNS}) VALUES ${marks}`,
      args: rows.flat(),
    });
    await transaction.commit();
  }
  const seconds = (performance.now() - began) / 1000;
  client.close();
  return (prepared.length * BATCH) / seconds;
}

async function plainPostgres(url: string, prepared: readonly Rows[]): Promise<number> {
  const client = new Client(url);
  await client.connect();
  await client.query("INSERT INTO members (id, role) VALUES ('member', 'centre')");
  await client.query("INSERT INTO definitions (version, body) VALUES (1, '{}')");
  const began = performance.now();
  for (const rows of prepared) {
    const marks = rows
      .map((row, at) => `(${row.map((_unused, column) => `$${at * row.length + column + 1}`).join(',')})`)
      .join(',');
    await client.query('BEGIN');
    await client.query(`INSERT INTO versions (${COLUMNS}) VALUES ${marks}`, rows.flat());
    await client.query('COMMIT');
  }
  const seconds = (performance.now() - began) / 1000;
  await client.end();
  return (prepared.length * BATCH) / seconds;
}

const folder = mkdtempSync(join(tmpdir(), 'longhold-bench-'));
const found = ON_POSTGRES ? findPostgres() : null;
const postgres = found === null ? null : startPostgres(found, true);

/** An empty store with the tables of the service, which made them by being started once. */
async function emptyStore(): Promise<Readonly<Record<string, string>>> {
  const environment: Record<string, string> =
    postgres === null
      ? { LONGHOLD_SYNC_STORE: join(folder, `${randomUUID()}.sqlite`) }
      : { DATABASE_URL: postgres.newDatabase() };
  const service = await startService({ port: await freePort(), environment });
  service.process.kill('SIGTERM');
  await new Promise((resolve) => service.process.on('close', resolve));
  return environment;
}

try {
  const prepared = prepare(BATCHES, BATCH, 1);
  const rows = prepared.map((batch, index) => rowsOf(batch, index * BATCH + 1));
  const plainStore = await emptyStore();
  const plainBegan = process.cpuUsage();
  const plain =
    postgres === null
      ? await plainSqlite(plainStore['LONGHOLD_SYNC_STORE'] ?? '', rows)
      : await plainPostgres(plainStore['DATABASE_URL'] ?? '', rows);
  const plainTime = process.cpuUsage(plainBegan);

  const port = await freePort();
  const environment =
    postgres === null
      ? { LONGHOLD_SYNC_STORE: join(folder, `${randomUUID()}.sqlite`) }
      : { DATABASE_URL: postgres.newDatabase() };
  const service = await startService({
    port,
    environment: { ...environment, LONGHOLD_SYNC_ENROLMENTS_A_MINUTE: '100000' },
  });
  const coordinator = String((await askService(port, 'enrol', { code: service.code }))['token']);
  await askService(port, 'publish', { basedOn: 0, definition: INVENTED_DEFINITION }, coordinator);
  const enrolled = async (): Promise<string> => {
    const { code } = await askService(port, 'invite', { role: 'centre', member: null }, coordinator);
    return String((await askService(port, 'enrol', { code }))['token']);
  };
  const clinics = [await enrolled(), await enrolled()];
  const memory: number[] = [];
  const timesBefore = threadTimes(service);
  const began = performance.now();
  // Two clinics, each with one batch under way at a time.
  const queue = prepared.map(({ body }) => body);
  const sender = async (token: string): Promise<void> => {
    for (let body = queue.shift(); body !== undefined; body = queue.shift()) {
      await post(port, body, token);
      memory.push(residentBytes(service));
    }
  };
  await Promise.all(clinics.map(sender));
  const served = (BATCHES * BATCH) / ((performance.now() - began) / 1000);
  const times = timesSince(service, timesBefore, BATCHES * BATCH);

  const tokens: string[] = [];
  for (let centre = 0; centre < CENTRES; centre++) tokens.push(await enrolled());
  const small = tokens.map((_unused, centre) => prepare(3, 50, 1_000 + centre));
  const waits: number[] = [];
  const crowdBegan = performance.now();
  await Promise.all(
    tokens.map(async (own, centre) => {
      for (const { body } of small[centre] ?? []) {
        const asked = performance.now();
        await post(port, body, own);
        waits.push(performance.now() - asked);
      }
    }),
  );
  const crowd = (CENTRES * 3 * 50) / ((performance.now() - crowdBegan) / 1000);
  waits.sort((a, b) => a - b);
  const atShare = (share: number): string =>
    `${(waits[Math.floor(waits.length * share)] ?? 0).toFixed(0)} ms`;
  const megabytes = (bytes: number | undefined): string => `${((bytes ?? 0) / MIB).toFixed(0)} MiB`;
  const microseconds = (time: number): string => `${time.toFixed(0)} µs`;
  const plainMicroseconds = microseconds((plainTime.user + plainTime.system) / (BATCHES * BATCH));
  const size = prepared.reduce((sum, { body }) => sum + body.length, 0) / (BATCHES * BATCH);
  console.log(
    [
      '# Bench of the pooling service',
      '',
      `${ON_POSTGRES ? 'PostgreSQL' : 'SQLite'}, Node ${process.version}, ${cpus().length} cores (${cpus()[0]?.model ?? 'unknown'}); ${BATCHES} batches of ${BATCH} records of ${size.toFixed(0)} bytes.`,
      '',
      '| what | value |',
      '| --- | --- |',
      `| plain inserts of the same rows, one transaction a batch | ${plain.toFixed(0)} records a second |`,
      `| the service over loopback, durably stored | ${served.toFixed(0)} records a second |`,
      `| share | ${(served / plain).toFixed(2)} |`,
      `| processor time a record${ON_POSTGRES ? ', without that of the database' : ''} | plain inserts ${plainMicroseconds}; the service's first thread ${microseconds(times.first)}, all of it ${microseconds(times.all)} |`,
      `| ${CENTRES} centres at once, 3 batches of 50 records each | ${crowd.toFixed(0)} records a second; a centre waits ${atShare(0.5)} (median), ${atShare(0.99)} (99 in 100) |`,
      `| memory of the service after a quarter, a half and all of the batches, and after the ${CENTRES} centres | ${[0.25, 0.5, 1].map((share) => megabytes(memory[Math.ceil(memory.length * share) - 1])).join(', ')}, ${megabytes(residentBytes(service))} |`,
    ].join('\n'),
  );
  await service.kill();
} finally {
  postgres?.stop();
  rmSync(folder, { recursive: true, force: true });
}
process.exit();
