import { createHash, randomUUID } from 'node:crypto';
import { readFileSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { cpus, tmpdir } from 'node:os';
import { join } from 'node:path';
import { performance } from 'node:perf_hooks';
import { setTimeout as after } from 'node:timers/promises';
import { canonicalJson, versionText } from '@longhold/core/exchange';
import type { PooledRecord } from '@longhold/core/contribution';
import { findPostgres, startPostgres } from '../../apps/sync/src/service.fixture';
import { openStore, type StorePlace } from '../../apps/sync/src/store/open-store';
import type { SyncStore } from '../../apps/sync/src/store/sync-store';
import {
  INVENTED_SHEET,
  inventedDefinition,
  inventedRecords,
} from '../../packages/core/src/pooled/invented-centres.fixture';
import { askService, freePort, startService, type ServiceProcess } from '../faults/sync-service';

/**
 * Times the pooled answer of a service that runs as a process of its own, asked over loopback, up to a million visits.
 * `first`: nothing is kept yet. `after a batch`: one centre sent 20 changed records and somebody asks at once; the slowest
 * of three. `after a pause`: the same, asked when the service had time to make the centre's statistics unasked. Seconds by
 * the clock, and in brackets the processor time of the whole service. `others wait`: the longest that another member
 * waited for a short question, and a centre for storing 20 records, while answers were computed; `refused`: how many of
 * these were. Memory: the most that the service held resident, until the first answer and in the last round. Prints a
 * table; nothing is asserted. `-- --on postgres` takes PostgreSQL, `--only 20` the size with so many centres.
 */
const SIZES = [
  { centres: 5, patients: 200 },
  { centres: 20, patients: 10_000 },
  { centres: 200, patients: 1_000 },
];
const BATCH = 20;
const WRITTEN_AT_ONCE = 500;
const ROUNDS = 3;
/** Longer than the service waits before it makes statistics unasked, and makes one centre's. */
const PAUSE = 15_000;
const words = process.argv.slice(2);
const option = (name: string): string | null => {
  const place = words.indexOf(`--${name}`);
  return place < 0 ? null : (words[place + 1] ?? null);
};
const ON_POSTGRES = option('on') === 'postgres';
const ONLY = option('only');
const definition = inventedDefinition();
const MIB = 2 ** 20;

function versionOf(record: PooledRecord, basedOn: string | null): string {
  return createHash('sha256').update(versionText(basedOn, record)).digest('hex');
}

/** Puts a centre's records and its sheet into the store. */
async function fill(store: SyncStore, member: string, records: readonly PooledRecord[]): Promise<void> {
  for (let from = 0; from < records.length; from += WRITTEN_AT_ONCE) {
    const part = records.slice(from, from + WRITTEN_AT_ONCE);
    await store.write(async (writer) => {
      const first = await writer.takeSequences(part.length);
      await writer.insertVersions(
        part.map((record, i) => ({
          member,
          pseudonym: record.pseudonym,
          version: versionOf(record, null),
          basedOn: null,
          sequence: first + i,
          batch: '',
          definition: 1,
          body: canonicalJson(record),
        })),
      );
    });
  }
  await store.write(async (writer) => {
    const sequence = await writer.takeSequences(1);
    await writer.putSheet({ member, definition: 1, sequence, body: canonicalJson(INVENTED_SHEET) });
  });
}

/** A service and the processes that it started. */
function processesOf({ process: { pid } }: ServiceProcess): readonly string[] {
  const started = readFileSync(`/proc/${pid}/task/${pid}/children`, 'utf8');
  return [String(pid), ...started.split(' ').filter((id) => id !== '')];
}

/** Processor seconds of a service so far. */
function processorSeconds(service: ServiceProcess): number {
  return processesOf(service).reduce((sum, pid) => {
    const fields = readFileSync(`/proc/${pid}/stat`, 'utf8').split(') ')[1]?.split(' ') ?? [];
    return sum + (Number(fields[11]) + Number(fields[12])) / 100;
  }, 0);
}

/** The most memory a service held resident since it was last asked, bytes; of each of its processes, added up. */
function peakMemory(service: ServiceProcess): number {
  return processesOf(service).reduce((sum, pid) => {
    const status = readFileSync(`/proc/${pid}/status`, 'utf8');
    writeFileSync(`/proc/${pid}/clear_refs`, '5');
    return sum + Number(/VmHWM:\s+(\d+) kB/.exec(status)?.[1] ?? 0) * 1024;
  }, 0);
}

interface Took {
  readonly seconds: number;
  readonly processor: number;
}

const shown = ({ seconds, processor }: Took): string => `${seconds.toFixed(1)} (${processor.toFixed(1)})`;

/** Asks until there is a release with that number. */
async function answered(
  service: ServiceProcess,
  port: number,
  token: string,
  release: number,
): Promise<Took> {
  const began = performance.now();
  const before = processorSeconds(service);
  for (;;) {
    const answer = await askService(port, 'pooled', { known: null }, token);
    if (answer['kind'] === 'released' && answer['release'] === release) break;
    if (answer['why'] === 'too-few-changes') throw new Error('an answer was to be released');
    await after(50);
  }
  return { seconds: (performance.now() - began) / 1000, processor: processorSeconds(service) - before };
}

const postgres = ON_POSTGRES ? startPostgres(findPostgres() ?? '', true) : null;

console.log(
  `${ON_POSTGRES ? 'PostgreSQL' : 'SQLite'}, Node ${process.version}, ${cpus().length} cores (${cpus()[0]?.model ?? 'unknown'})\n`,
);
console.log(
  '| centres | patients each | visits | first, s | after a batch, s | after a pause, s | others wait: question, storing, s | refused | memory, MiB |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- |',
);
for (const { centres, patients } of SIZES.filter((size) => ONLY === null || size.centres === Number(ONLY))) {
  const folder = mkdtempSync(join(tmpdir(), 'longhold-bench-'));
  const place: StorePlace =
    postgres === null
      ? { kind: 'sqlite', path: join(folder, 'study.sqlite') }
      : { kind: 'postgres', url: postgres.newDatabase() };
  const environment =
    place.kind === 'sqlite' ? { LONGHOLD_SYNC_STORE: place.path } : { DATABASE_URL: place.url };
  const port = await freePort();
  const begun = await startService({ port, environment });
  const coordinator = String((await askService(port, 'enrol', { code: begun.code }))['token']);
  await askService(port, 'publish', { basedOn: 0, definition }, coordinator);
  const enrolled = async (role: string): Promise<{ readonly token: string; readonly member: string }> => {
    const { code } = await askService(port, 'invite', { role, member: null }, coordinator);
    const { token, member } = await askService(port, 'enrol', { code });
    return { token: String(token), member: String(member) };
  };
  const reader = await enrolled('reader');
  const late = await enrolled('centre');
  const sending = await enrolled('centre');
  const others: string[] = [];
  for (let i = 1; i < centres; i++) others.push((await enrolled('centre')).member);
  begun.process.kill('SIGTERM');
  await new Promise((resolve) => begun.process.on('close', resolve));

  const store = await openStore(place, join('apps', 'sync', 'src', 'store'), 'migrations');
  let visits = 0;
  let changing: PooledRecord[] = [];
  for (const [i, member] of [sending.member, ...others].entries()) {
    const records = inventedRecords({ patients, seed: i + 1 });
    visits += records.reduce((sum, record) => sum + record.visits.length, 0);
    await fill(store, member, records);
    if (i === 0) changing = records.slice(0, BATCH);
  }
  await store.close();

  const service = await startService({ port, environment });
  let isOver = false;
  let refused = 0;
  const longest = { question: 0, storing: 0 };
  const repeat = async (kind: keyof typeof longest, work: () => Promise<unknown>): Promise<void> => {
    while (!isOver) {
      const began = performance.now();
      await work().catch(() => refused++);
      longest[kind] = Math.max(longest[kind], (performance.now() - began) / 1000);
      await after(20);
    }
  };
  const push = (token: string, items: readonly unknown[]): Promise<unknown> =>
    askService(port, 'push', { batch: randomUUID(), definition: 1, items }, token);
  let seed = 1_000_000;
  const watch = (): Promise<unknown> => {
    isOver = false;
    return Promise.all([
      repeat('question', () => askService(port, 'session', {}, late.token)),
      // Without a sheet, so that its records are stored and not in the pool.
      repeat('storing', () =>
        push(
          late.token,
          inventedRecords({ patients: BATCH, seed: seed++ }).map((record) => ({
            kind: 'record',
            version: versionOf(record, null),
            basedOn: null,
            record,
          })),
        ),
      ),
    ]);
  };
  let heads = changing.map((record) => versionOf(record, null));
  const change = async (): Promise<void> => {
    changing = changing.map((record) => ({ ...record, ageMonths: record.ageMonths + 3 }));
    const items = changing.map((record, i) => {
      const basedOn = heads[i] ?? null;
      return { kind: 'record', version: versionOf(record, basedOn), basedOn, record };
    });
    await push(sending.token, items);
    heads = items.map(({ version }) => version);
  };

  const watching = watch();
  const first = await answered(service, port, reader.token, 1);
  const memory = [peakMemory(service)];
  const rounds: Took[] = [];
  for (let round = 1; round <= ROUNDS; round++) {
    await change();
    rounds.push(await answered(service, port, reader.token, 1 + round));
    memory.push(peakMemory(service));
  }
  isOver = true;
  await watching;
  await change();
  await after(PAUSE);
  const paused = await answered(service, port, reader.token, 2 + ROUNDS);
  const slowest = rounds.reduce((a, b) => (b.seconds > a.seconds ? b : a));
  console.log(
    `| ${[
      centres,
      patients,
      visits,
      shown(first),
      shown(slowest),
      shown(paused),
      `${longest.question.toFixed(2)}, ${longest.storing.toFixed(2)}`,
      refused,
      `${((memory[0] ?? 0) / MIB).toFixed(0)}, ${((memory.at(-1) ?? 0) / MIB).toFixed(0)}`,
    ].join(' | ')} |`,
  );
  service.process.kill('SIGTERM');
  await new Promise((resolve) => service.process.on('close', resolve));
  rmSync(folder, { recursive: true, force: true });
}
postgres?.stop();
process.exit();
