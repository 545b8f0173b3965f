import { execFileSync } from 'node:child_process';
import { chmodSync, mkdirSync, rmSync, statfsSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { Client } from 'pg';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { verifyStore } from './command/verify';
import {
  batchOf,
  findPostgres,
  INVENTED_DEFINITION,
  inventedRecord,
  startPostgres,
  temporaryFolder,
  testService,
  versionOf,
  type PrivatePostgres,
  type Reply,
  type TestService,
} from './service.fixture';

const folder = temporaryFolder(afterAll);
chmodSync(folder, 0o755);
const programs = findPostgres();
let postgres: PrivatePostgres | null = null;
beforeAll(() => {
  postgres = programs === null ? null : startPostgres(programs);
});
afterAll(() => postgres?.stop());

const disk = join(folder, 'disk');
const ballast = join(disk, 'ballast');
const PAGE = 4096;

/** A small disk of its own can only be had by an administrator. */
function mountSmallDisk(): boolean {
  mkdirSync(disk, { recursive: true });
  try {
    execFileSync('mount', ['-t', 'tmpfs', '-o', 'size=40m', 'tmpfs', disk], { stdio: 'ignore' });
    return true;
  } catch {
    return false;
  }
}
const mounted = mountSmallDisk();
afterAll(() => {
  if (mounted) execFileSync('umount', ['-l', disk]);
});

/** Fills the small disk until that many pages are free. */
function leaveFree(pages: number): void {
  rmSync(ballast, { force: true });
  const { bavail, bsize } = statfsSync(disk);
  writeFileSync(ballast, Buffer.alloc(Math.max(0, bavail * bsize - pages * PAGE)));
}

async function begin(service: TestService): Promise<string> {
  const { token: coordinator } = await service.enrolled('coordinator');
  await service.ask('publish', { basedOn: 0, definition: INVENTED_DEFINITION }, coordinator);
  return (await service.enrolled('centre')).token;
}

const itemKinds = ({ data }: Reply): unknown[] =>
  [data['items']].flat().map((item) => Reflect.get(Object(item), 'kind'));

/** A batch of its own for each number: records, and the withdrawal of one that the batch before brought. */
function batchNumber(number: number, size: number) {
  const records = Array.from({ length: size }, (_unused, n) => versionOf(inventedRecord(number * 1_000 + n)));
  const { pseudonym } = inventedRecord((number - 1) * 1_000);
  return batchOf([...records, { kind: 'withdrawal', pseudonym }]);
}

/** Sends while the disk is full at first and freer each time; then everything once more with room. */
async function sendOnFullDisk(
  service: TestService,
  token: string,
  { size, pages, most }: { readonly size: number; readonly pages: number; readonly most: number },
): Promise<{ readonly refused: number }> {
  const batches = Array.from({ length: 4 }, (_unused, index) => batchNumber(index + 1, size));
  let stored = 0;
  let refused = 0;
  for (let step = 0; stored < batches.length && step < most; step++) {
    leaveFree(step * pages);
    const batch = batches[stored];
    const reply = await service.ask('push', batch, token);
    if (reply.reason === null) stored++;
    else {
      expect([reply.status, reply.reason]).toEqual([503, 'unavailable']);
      refused++;
    }
    const { records, faults } = await verifyStore(service.store);
    expect(faults).toEqual([]);
    // Each batch takes away one record of the one before it.
    expect(records).toBe(stored === 0 ? 0 : stored * size - (stored - 1));
  }
  rmSync(ballast, { force: true });
  for (const [index, batch] of batches.entries()) {
    const kinds = itemKinds(await service.ask('push', batch, token));
    expect(kinds.slice(1)).toEqual([...Array.from({ length: size - 1 }, () => 'stored'), 'withdrawn']);
    // By then the first record of all but the last two batches was withdrawn by the batch after.
    expect(kinds[0]).toBe(index < stored - 1 ? 'gone' : 'stored');
  }
  return { refused };
}

describe.skipIf(!mounted)('On a full disk, the service', () => {
  it('on SQLite keeps a batch whole or refuses it whole as unavailable, and goes on once there is room', async () => {
    const service = await testService({ kind: 'sqlite', path: join(disk, 'study.sqlite') });
    const token = await begin(service);
    const { refused } = await sendOnFullDisk(service, token, { size: 40, pages: 2, most: 200 });
    expect(refused).toBeGreaterThan(3);
    expect((await service.ask('session', {}, token)).reason).toBe(null);
    await service.close();
    rmSync(join(disk, 'study.sqlite'), { force: true });
  });

  it.skipIf(programs === null)(
    'on PostgreSQL keeps a batch whole or refuses it whole as unavailable, and goes on once there is room',
    async () => {
      const place = join(disk, 'tables');
      mkdirSync(place, { recursive: true });
      if (process.getuid?.() === 0) execFileSync('chown', ['postgres', place]);
      const url = postgres?.newDatabase() ?? '';
      const name = /\/(study\d+)\?/.exec(url)?.[1] ?? '';
      const client = new Client(postgres?.newDatabase());
      await client.connect();
      await client.query(`CREATE TABLESPACE small LOCATION '${place}'`);
      await client.query(`ALTER DATABASE ${name} SET TABLESPACE small`);
      await client.end();
      const service = await testService({ kind: 'postgres', url });
      const token = await begin(service);
      const { refused } = await sendOnFullDisk(service, token, { size: 150, pages: 8, most: 200 });
      expect(refused).toBeGreaterThan(1);
      expect((await service.ask('session', {}, token)).reason).toBe(null);
      await service.close();
    },
  );
});

describe.skipIf(programs === null)('When PostgreSQL is started anew under a service', () => {
  it('what was under way is stored or unavailable, and the same service goes on', async () => {
    const service = await testService({ kind: 'postgres', url: postgres?.newDatabase() ?? '' });
    const token = await begin(service);
    const batches = Array.from({ length: 30 }, (_unused, n) =>
      batchOf([versionOf(inventedRecord(n)), versionOf(inventedRecord(100 + n))]),
    );
    for (const wait of [0, 3, 10]) {
      const under = batches.map((batch) => service.ask('push', batch, token));
      await new Promise((resolve) => setTimeout(resolve, wait));
      postgres?.crash();
      for (const { reason } of await Promise.all(under)) expect([null, 'unavailable']).toContain(reason);
      for (let tries = 0; tries < 50; tries++) {
        const health = await service.server.inject({ method: 'GET', url: '/healthz' });
        if (health.statusCode === 200) break;
        expect(health.statusCode).toBe(503);
      }
    }
    for (const batch of batches) {
      expect(itemKinds(await service.ask('push', batch, token))).toEqual(['stored', 'stored']);
    }
    expect(await verifyStore(service.store)).toEqual({ records: 60, withdrawn: 0, faults: [] });
    await service.close();
  });
});
