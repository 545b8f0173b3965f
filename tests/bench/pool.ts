import { createHash } from 'node:crypto';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { performance } from 'node:perf_hooks';
import { canonicalJson, versionText } from '@longhold/core/exchange';
import type { PooledRecord } from '@longhold/core/contribution';
import { Pool } from '../../apps/sync/src/pool/pool';
import { ProcessComputer } from '../../apps/sync/src/pool/process-computer';
import { silentLog } from '../../apps/sync/src/http/log';
import { openSqliteStore } from '../../apps/sync/src/store/sqlite/sqlite-store';
import type { SyncStore } from '../../apps/sync/src/store/sync-store';
import {
  INVENTED_SHEET,
  inventedDefinition,
  inventedRecords,
} from '../../packages/core/src/pooled/invented-centres.fixture';

/**
 * Times the pooled answer by the service's own way: records in an SQLite store, statistics made by the thread that
 * computes and kept in the store, the answer released. `first`: nothing is kept yet. `after a batch`: one centre sent 20
 * changed records. `again`: nothing changed. `longest wait`: of another reader of the store meanwhile. Prints a table;
 * nothing is asserted. Builds of the thread: `node apps/sync/build.mjs`.
 */
const CENTRES = [
  { centres: 5, patients: 200 },
  { centres: 20, patients: 10_000 },
  { centres: 200, patients: 1_000 },
];
const BATCH = 20;
const WRITTEN_AT_ONCE = 500;
const definition = inventedDefinition();

async function timed(work: () => Promise<unknown>): Promise<number> {
  const started = performance.now();
  await work();
  return (performance.now() - started) / 1000;
}

/** Puts records under new versions into the store. */
async function send(store: SyncStore, member: string, records: readonly PooledRecord[]): Promise<void> {
  for (let from = 0; from < records.length; from += WRITTEN_AT_ONCE) {
    const part = records.slice(from, from + WRITTEN_AT_ONCE);
    await store.write(async (writer) => {
      const first = await writer.takeSequences(part.length);
      const former = await writer.headsOf(
        member,
        part.map(({ pseudonym }) => pseudonym),
      );
      await writer.clearBodies(
        member,
        former.map(({ version }) => version),
      );
      await writer.insertVersions(
        part.map((record, i) => {
          const basedOn = former.find(({ pseudonym }) => pseudonym === record.pseudonym)?.version ?? null;
          const version = createHash('sha256').update(versionText(basedOn, record)).digest('hex');
          const { pseudonym } = record;
          const body = canonicalJson(record);
          return {
            member,
            pseudonym,
            version,
            basedOn,
            sequence: first + i,
            batch: '',
            definition: 1,
            body,
          };
        }),
      );
      await writer.dropStatistics(member);
    });
  }
}

const program = resolve('apps', 'sync', 'dist', 'pool-process.mjs');
const LIMITS = { centre: 600_000, pool: 3_000_000, memory: 2_048 };
console.log(
  'centres | patients each | visits | first, s | after a batch, s | again, s | longest wait, s | memory of the service, MB',
);
for (const { centres, patients } of CENTRES) {
  const folder = mkdtempSync(join(tmpdir(), 'longhold-bench-'));
  const store = await openSqliteStore({
    path: join(folder, 'study.sqlite'),
    migrationsFolder: join('apps', 'sync', 'src', 'store', 'sqlite', 'migrations'),
  });
  await store.write(async (writer) => {
    await writer.insertDefinition({ version: 1, body: canonicalJson(definition) });
  });
  let visits = 0;
  let latest: { readonly member: string; readonly records: readonly PooledRecord[] } | null = null;
  for (let i = 0; i < centres; i++) {
    const records = inventedRecords({ patients, seed: i + 1 });
    const member = `centre ${String(i).padStart(3, '0')}`;
    visits += records.reduce((sum, record) => sum + record.visits.length, 0);
    await store.write((writer) => writer.insertMember({ id: member, role: 'centre' }));
    await send(store, member, records);
    await store.write(async (writer) => {
      const sequence = await writer.takeSequences(1);
      await writer.putSheet({ member, definition: 1, sequence, body: canonicalJson(INVENTED_SHEET) });
    });
    latest = { member, records: records.slice(0, BATCH) };
  }
  const computer = new ProcessComputer(program, LIMITS);
  const pool = new Pool(store, computer, silentLog);
  let isOver = false;
  let longest = 0;
  const watcher = (async () => {
    while (!isOver) {
      longest = Math.max(longest, await timed(() => store.read((reader) => reader.study())));
      await new Promise((resolve) => setTimeout(resolve, 20));
    }
  })();
  const first = await timed(() => pool.refresh(3_600_000));
  if (latest !== null) {
    const { member, records } = latest;
    await send(
      store,
      member,
      records.map((record) => ({ ...record, ageMonths: record.ageMonths + 3 })),
    );
  }
  const afterBatch = await timed(() => pool.refresh(3_600_000));
  const again = await timed(() => pool.refresh(3_600_000));
  isOver = true;
  await watcher;
  const [release] = await store.read((reader) => reader.releases());
  if (release?.number !== 2) throw new Error('two answers were to be released');
  const memory = process.memoryUsage.rss() / 2 ** 20;
  const seconds = [first, afterBatch, again, longest].map((s) => s.toFixed(2));
  console.log([centres, patients, visits, ...seconds, memory.toFixed(0)].join(' | '));
  await pool.stop();
  await store.close();
  rmSync(folder, { recursive: true, force: true });
}
