import { join } from 'node:path';
import { afterAll, describe, expect, it, vi } from 'vitest';
import { randomUUID } from 'node:crypto';
import { existsSync, readFileSync } from 'node:fs';
import { pathToFileURL } from 'node:url';
import { createClient } from '@libsql/client';
import { backUp, restore } from './command/backup';
import { recordsOf, TestPool } from './pool/pool.fixture';
import { openTestStore, quickDisk, temporaryFolder, testService } from './service.fixture';

const folder = temporaryFolder(afterAll, quickDisk());
let studies = 0;
const newPool = (): Promise<TestPool> =>
  TestPool.start({ kind: 'sqlite', path: join(folder, `study ${studies++}.sqlite`) });

/** A pool of three centres with enough patients each. */
async function threeCentres() {
  const pool = await newPool();
  const centres = [];
  for (const seed of [1, 2, 3]) {
    const centre = await pool.centre();
    const records = recordsOf(60, seed);
    await pool.send(centre, records);
    centres.push({ centre, records });
  }
  const [first, second, third] = centres;
  if (first === undefined || second === undefined || third === undefined) throw new Error('three are needed');
  return { pool, first, second, third };
}

/** Every number of patients that a reader is shown, by what it is of. */
async function countsShown(pool: TestPool): Promise<ReadonlyMap<string, number>> {
  const counts = new Map<string, number>();
  const note = (name: string, count: number | null): void => {
    if (count !== null) counts.set(name, count);
  };
  for (const measure of (await pool.view(pool.reader)).measures) {
    note('treated', measure.treated);
    note('in the risk set', measure.inRiskSet);
    for (const { year, eligible, seen, measured } of measure.flow) {
      note(`eligible in year ${year}`, eligible);
      note(`seen in year ${year}`, seen);
      note(`measured in year ${year}`, measured);
    }
    for (const { kind, year, patients } of measure.quantities) note(`${kind} ${year ?? ''}`, patients);
    for (const { reason, patients } of measure.leftOut) note(`left out: ${reason}`, patients);
    for (const { label, patients, atYears } of measure.groups) {
      note(label, patients);
      for (const at of atYears) note(`${label} at ${at.year}`, at.patients);
    }
  }
  return counts;
}

/** The smallest cell: numbers that are told in such steps and differ by one leave open from 1 to 19 patients. */
const STEP = 10;

/** Numbers that differ by fewer patients than may be told. */
function smallDifferences(
  before: ReadonlyMap<string, number>,
  after: ReadonlyMap<string, number>,
): readonly string[] {
  return [...after].flatMap(([name, count]) => {
    const difference = Math.abs(count - (before.get(name) ?? count));
    return difference > 0 && difference < STEP ? [`${name}: ${difference}`] : [];
  });
}

describe('What a member may learn', () => {
  it('is no record that was sent while the study agreement did not share records', async () => {
    const { pool, first, second } = await threeCentres();
    await pool.publish({ recordsShared: true });
    const input = { after: 0, of: 'all', limit: 500 };
    const { data } = await pool.service.ask('pull', input, first.centre.token);
    const text = JSON.stringify(data['changes'] ?? []);
    expect(text).not.toContain(`"member":"${second.centre.member}"`);
    await pool.service.close();
  });

  it('is no small number of patients by which a later answer differs, though others changed', async () => {
    const { pool, first, second, third } = await threeCentres();
    const before = await countsShown(pool);
    for (const { centre, records } of [first, third]) {
      await pool.send(
        centre,
        records.slice(0, 12).map((record) => ({ ...record, maturityStart: 'CS3' as const })),
      );
    }
    await pool.send(second.centre, recordsOf(1, 99));
    expect(smallDifferences(before, await countsShown(pool))).toEqual([]);
    await pool.service.close();
  });

  it('is no number of a centre that joins, but that it is below twice the smallest cell', async () => {
    const { pool } = await threeCentres();
    const before = await countsShown(pool);
    await pool.send(await pool.centre(), recordsOf(12, 77));
    expect(smallDifferences(before, await countsShown(pool))).toEqual([]);
    await pool.service.close();
  });

  it('is no other count of the same patients under a threshold that hardly differs', async () => {
    const { pool, first, second, third } = await threeCentres();
    const atThreshold = async (share: number): Promise<ReadonlyMap<string, number>> => {
      await pool.publish({ threshold: { kind: 'share', share } });
      for (const { centre } of [first, second, third]) await pool.send(centre, []);
      return countsShown(pool);
    };
    let before = await atThreshold(0.7);
    for (const share of [0.71, 0.72, 0.73, 0.74, 0.75, 0.76, 0.77]) {
      const after = await atThreshold(share);
      expect(smallDifferences(before, after)).toEqual([]);
      before = after;
    }
    await pool.service.close();
  });
});

describe('The service', () => {
  it('lets a revoked member not back by a code that was made before', async () => {
    const { pool, first } = await threeCentres();
    const { token, member } = first.centre;
    const { data } = await pool.service.ask('invite', { role: 'centre', member }, token);
    await pool.service.ask('revoke', { kind: 'member', member }, pool.coordinator);
    const enrolled = await pool.service.ask('enrol', { code: data['code'] });
    expect(enrolled.reason).not.toBeNull();
    await pool.service.close();
  });

  it('keeps no moment of a sending finer than the month', async () => {
    const { pool } = await threeCentres();
    const { data } = await pool.service.ask('audit', { limit: 100 }, pool.coordinator);
    const text = JSON.stringify(data['entries']);
    expect(text).not.toMatch(
      /"at":"\d{4}-\d{2}-\d{2}T[^"]*","member":"[^"]*","device":"[^"]*","action":"sent-/,
    );
    await pool.service.close();
  });

  it('refuses statistics that no patients can have', async () => {
    const { pool } = await threeCentres();
    const centre = await pool.centre();
    const statistics = pool.statisticsOf(recordsOf(30, 9));
    const impossible = {
      ...statistics,
      measures: statistics.measures.map((measure) => ({
        ...measure,
        endings: [{ day: 300, ending: 'lost', patients: 10_000 }],
      })),
    };
    const input = { replaces: null, statistics: impossible, withdrawn: 0 };
    const { reason } = await pool.service.ask('statistics', input, centre.token);
    expect(reason).toBe('wrong-input');
    await pool.service.close();
  });

  it('shows nothing of a centre after a restore before that centre was heard, so that nobody who withdrew comes back', async () => {
    const { pool, first, second, third } = await threeCentres();
    const backup = join(folder, 'backup');
    await backUp(pool.service.store, backup);
    const gone = first.records.slice(0, 15).map(({ pseudonym }) => pseudonym);
    await pool.withdraw(first.centre, gone);
    await pool.service.close();
    const place = { kind: 'sqlite', path: join(folder, 'restored.sqlite') } as const;
    const store = await openTestStore(place);
    await restore(store, backup, () => new Date('2026-04-01T00:00:00Z'));
    await store.close();
    const restored = await testService(place);
    const why = async (): Promise<unknown> => {
      const { data } = await restored.ask('pooled', {}, pool.reader);
      return data['why'] ?? data['kind'];
    };
    expect(await why()).toBe('restored');
    for (const { centre } of [second, third]) await restored.ask('pull', { after: 0 }, centre.token);
    expect(JSON.stringify((await restored.ask('pooled', {}, pool.coordinator)).data)).not.toContain(
      first.centre.member,
    );
    const items = gone.map((pseudonym) => ({ kind: 'withdrawal', pseudonym }));
    await restored.ask('push', { batch: randomUUID(), definition: 1, items }, first.centre.token);
    await restored.ask('pull', { after: 0 }, first.centre.token);
    expect(await restored.store.read((reader) => reader.unheardMembers())).toEqual(new Set());
    await restored.close();
  });

  it('takes a withdrawn patient out of its file also where another program was reading it at that moment', async () => {
    const path = join(folder, 'read.sqlite');
    const pool = await TestPool.start({ kind: 'sqlite', path });
    const centre = await pool.centre();
    const records = recordsOf(3, 5);
    await pool.send(centre, records);
    const pseudonym = records[0]?.pseudonym ?? '';
    const inFiles = (): boolean =>
      [path, `${path}-wal`].some((file) => existsSync(file) && readFileSync(file).includes(pseudonym));
    expect(inFiles()).toBe(true);
    const other = createClient({ url: pathToFileURL(path).href, concurrency: 1 });
    const reading = await other.transaction('read');
    await reading.execute('SELECT count(*) FROM versions');
    await pool.withdraw(centre, [pseudonym]);
    await reading.commit();
    other.close();
    await vi.waitFor(() => expect(inFiles()).toBe(false), { timeout: 20_000, interval: 200 });
    await pool.service.close();
  }, 30_000);
});
