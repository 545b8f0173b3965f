import { randomUUID } from 'node:crypto';
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { backUp, restore } from '../command/backup';
import { verifyStore } from '../command/verify';
import {
  findPostgres,
  openTestStore,
  startPostgres,
  temporaryFolder,
  type PrivatePostgres,
} from '../service.fixture';
import type { StorePlace } from '../store/open-store';
import { ownThread, type PoolComputer } from './computer';
import { changedRecord, recordsOf, statisticsDigest, TestPool, type TestCentre } from './pool.fixture';

const folder = temporaryFolder(afterAll);
const programs = findPostgres();
let postgres: PrivatePostgres | null = null;
beforeAll(() => {
  postgres = programs === null ? null : startPostgres(programs);
});
afterAll(() => postgres?.stop());

function newPlace(kind: StorePlace['kind']): StorePlace {
  if (kind === 'sqlite') return { kind, path: join(folder, `${randomUUID()}.sqlite`) };
  if (postgres === null) throw new Error('no PostgreSQL was started');
  return { kind, url: postgres.newDatabase() };
}

const SERIES = [recordsOf(30, 1), recordsOf(26, 2), recordsOf(34, 3)] as const;

/** Computes in this thread and counts what was computed. */
function counting(): PoolComputer & { readonly made: { centres: number; pools: number } } {
  const made = { centres: 0, pools: 0 };
  return {
    ...ownThread,
    made,
    centre: (...of) => {
      made.centres++;
      return ownThread.centre(...of);
    },
    pool: (...of) => {
      made.pools++;
      return ownThread.pool(...of);
    },
  };
}

describe.each(['sqlite', 'postgres'] as const)('On %s', (kind) => {
  describe.skipIf(kind === 'postgres' && programs === null)('pooled answers', () => {
    let pool: TestPool;
    let centres: TestCentre[];
    let computer: ReturnType<typeof counting>;
    const start = async (): Promise<void> => {
      computer = counting();
      pool = await TestPool.start(newPlace(kind), {}, computer);
      centres = [await pool.centre(), await pool.centre(), await pool.centre()];
      for (const [i, centre] of centres.entries()) await pool.send(centre, SERIES[i] ?? []);
    };
    const centreAt = (i: number): TestCentre => {
      const centre = centres[i];
      if (centre === undefined) throw new Error('no such centre');
      return centre;
    };
    afterEach(() => pool.service.close());

    it('of statistics made at home are those of the records, to the last digits', async () => {
      await start();
      const third = centreAt(2);
      const fromRecords = await pool.view(pool.coordinator);
      const ofCentre = await pool.view(third.token);
      const statistics = pool.statisticsOf(SERIES[2]);
      const input = { replaces: null, statistics, withdrawn: 0 };
      const mixed = await pool.service.ask('statistics', input, third.token);
      expect(mixed.reason).toBe('mixed-contribution');
      await pool.withdraw(third, [...third.heads.keys()]);
      expect(await pool.release(pool.coordinator)).not.toBe(1);
      const sent = await pool.service.ask('statistics', input, third.token);
      expect(sent.data).toMatchObject({ digest: statisticsDigest(statistics), receipt: null });
      expectEqualNumbers(await pool.view(pool.coordinator), fromRecords);
      expectEqualNumbers(await pool.view(third.token), ofCentre);
      await expect(pool.send(third, recordsOf(3, 99))).rejects.toThrow('mixed-contribution');
    });

    it('make anew the statistics of a centre that sent something, and of no other', async () => {
      await start();
      expect(await pool.release(pool.reader)).toBe(1);
      expect(computer.made).toEqual({ centres: 3, pools: 1 });
      await pool.send(centreAt(1), SERIES[1].slice(0, 12).map(changedRecord));
      expect(await pool.release(pool.reader)).toBe(2);
      expect(computer.made).toEqual({ centres: 4, pools: 2 });
      expect(await pool.release(centreAt(0).token)).toBe(2);
      expect(computer.made).toEqual({ centres: 4, pools: 2 });
    });

    it('stay as they are until enough has changed, and say that newer records wait', async () => {
      await start();
      const first = await pool.ask(pool.reader);
      expect(first).toMatchObject({ kind: 'released', release: 1, centres: 3, newer: false });
      const known = { epoch: first['epoch'], release: 1 };
      expect(await pool.ask(pool.reader, known)).toEqual({
        kind: 'unchanged',
        release: 1,
        newer: false,
        setAside: [],
      });
      await pool.send(centreAt(0), SERIES[0].slice(0, 9).map(changedRecord));
      expect(await pool.ask(pool.reader)).toEqual({ ...first, newer: true });
      await pool.send(centreAt(0), SERIES[0].slice(9, 10).map(changedRecord));
      expect(await pool.release(pool.reader)).toBe(2);
      // Enough in one centre, few in another: the one could work out the other's.
      await pool.send(centreAt(0), SERIES[0].slice(0, 20));
      await pool.send(centreAt(1), SERIES[1].slice(0, 2).map(changedRecord));
      expect(await pool.release(pool.reader)).toBe(2);
      await pool.send(centreAt(1), SERIES[1].slice(2, 10).map(changedRecord));
      expect(await pool.release(pool.reader)).toBe(3);
    });

    it('come back only after enough changes once a patient withdrew, and nothing of the last one stays', async () => {
      await start();
      const gone = SERIES[0][0]?.pseudonym ?? '';
      await pool.view(pool.coordinator);
      await pool.withdraw(centreAt(0), [gone]);
      for (const token of [pool.reader, pool.coordinator, centreAt(1).token]) {
        expect(await pool.ask(token)).toMatchObject({ kind: 'waiting', why: 'too-few-changes' });
      }
      const { store } = pool.service;
      const left = await store.read(async (reader) => [
        await reader.isShown(1),
        await reader.statisticsOf(centreAt(0).member),
        await reader.viewsOfWithdrawn(),
      ]);
      expect(left).toEqual([false, null, 0]);
      await pool.send(centreAt(0), SERIES[0].slice(1, 10).map(changedRecord));
      expect(await pool.release(pool.reader)).toBe(2);
      expect((await verifyStore(store)).faults).toEqual([]);
    });

    it('do not come back by others coming and going again', async () => {
      await start();
      expect(await pool.release(pool.reader)).toBe(1);
      const guests = recordsOf(12, 50);
      await pool.send(centreAt(0), guests);
      await pool.withdraw(
        centreAt(0),
        guests.map(({ pseudonym }) => pseudonym),
      );
      await pool.send(centreAt(0), SERIES[0].slice(0, 1).map(changedRecord));
      expect(await pool.release(pool.reader)).toBe(1);
      // The same over two releases: guests in the second, gone in what would be the third.
      const more = recordsOf(12, 51);
      await pool.send(centreAt(0), more);
      expect(await pool.release(pool.reader)).toBe(2);
      await pool.withdraw(
        centreAt(0),
        more.map(({ pseudonym }) => pseudonym),
      );
      expect(await pool.release(pool.reader)).toBe('too-few-changes');
    });

    it('follow a new definition once clinics have confirmed it, with records made anew where more is asked of them', async () => {
      await start();
      expect(await pool.release(pool.reader)).toBe(1);
      await pool.publish({ threshold: { kind: 'share', share: 0.5 } });
      // Records stay as they are, but nobody has agreed to what is now made of them.
      expect(await pool.release(pool.reader)).toBe('nothing-contributed');
      for (const centre of centres) await pool.send(centre, []);
      expect(await pool.ask(pool.reader)).toMatchObject({ kind: 'released', release: 2, definition: 2 });
      await pool.publish({ coarsening: { ...pool.definition.coarsening, dayStep: 14 } });
      expect(await pool.release(pool.reader)).toBe('nothing-contributed');
      for (const [i, centre] of centres.entries()) await pool.send(centre, SERIES[i] ?? []);
      expect(await pool.ask(pool.reader)).toMatchObject({ kind: 'released', definition: 3, centres: 3 });
    });

    it('show a reader and a centre no other centre, and the coordinator the flow of each', async () => {
      await start();
      const [first, second] = [centreAt(0).member, centreAt(1).member];
      const own = JSON.stringify(await pool.view(centreAt(0).token));
      expect(own).toContain(first);
      expect(own).not.toContain(second);
      expect(JSON.stringify(await pool.view(pool.reader))).not.toContain(second);
      const [measure] = (await pool.view(pool.coordinator)).measures;
      expect(measure?.flowByCentre.map(({ centre }) => centre)).toEqual(
        centres.map(({ member }) => member).sort(),
      );
    });

    it('take statistics once however often they come, in turn, and delete what held someone who withdrew', async () => {
      await start();
      const fourth = await pool.centre();
      const records = recordsOf(25, 4);
      const first = pool.statisticsOf(records);
      const send = (input: unknown) => pool.service.ask('statistics', input, fourth.token);
      const sent = await send({ replaces: null, statistics: first, withdrawn: 0 });
      expect(await send({ replaces: null, statistics: first, withdrawn: 0 })).toEqual(sent);
      expect(await pool.release(pool.reader)).toBe(1);
      const former = statisticsDigest(first);
      const second = pool.statisticsOf(records.slice(1));
      const other = await send({ replaces: 'f'.repeat(64), statistics: second, withdrawn: 1 });
      expect(other.reason).toBe('statistics-conflict');
      const next = await send({ replaces: former, statistics: second, withdrawn: 1 });
      expect(next.data).toMatchObject({ receipt: { patients: 1, month: '2026-03' } });
      expect(await send({ replaces: former, statistics: second, withdrawn: 1 })).toEqual(next);
      // The first ones, late, take nobody's place.
      expect((await send({ replaces: null, statistics: first, withdrawn: 0 })).reason).toBe(
        'statistics-conflict',
      );
      const { data } = await pool.service.ask('session', {}, fourth.token);
      expect(data['statistics']).toBe(statisticsDigest(second));
      expect(await pool.release(pool.reader)).toBe('too-few-changes');
      const gone = await send({ replaces: statisticsDigest(second), statistics: null, withdrawn: 0 });
      expect(gone.data).toMatchObject({ digest: null, receipt: { patients: 24 } });
      await pool.send(fourth, recordsOf(20, 5));
      const stale = { ...first, definition: 2 };
      expect((await send({ replaces: null, statistics: stale, withdrawn: 0 })).reason).toBe(
        'definition-outdated',
      );
    });

    it('are remembered by a backup with what they held, and none is shown once it is restored', async () => {
      await start();
      await pool.view(pool.reader);
      const file = join(folder, `${randomUUID()}.backup`);
      await backUp(pool.service.store, file);
      const fresh = await openTestStore(newPlace(kind));
      await restore(fresh, file, () => new Date('2026-04-01T00:00:00Z'));
      const [release] = await fresh.read((reader) => reader.releases());
      expect(release).toMatchObject({ number: 1, toCoordinator: true });
      expect(await fresh.read((reader) => reader.isShown(1))).toBe(false);
      expect(await fresh.read((reader) => reader.releaseCentres(1))).toHaveLength(3);
      await fresh.close();
    });
  });
});

describe('The files of an SQLite store', () => {
  it('hold no statistics and no pooled answer of a patient whose withdrawal was answered', async () => {
    const home = temporaryFolder(afterAll);
    const pool = await TestPool.start({ kind: 'sqlite', path: join(home, 'study.sqlite') });
    const centres = [await pool.centre(), await pool.centre(), await pool.centre()];
    for (const [i, centre] of centres.entries()) await pool.send(centre, SERIES[i] ?? []);
    await pool.view(pool.reader);
    const [first] = centres;
    if (first === undefined) throw new Error('no centre');
    const bytes = (): string =>
      readdirSync(home)
        .map((name) => readFileSync(join(home, name), 'latin1'))
        .join('');
    const row = await pool.service.store.read((reader) => reader.statisticsOf(first.member));
    const patient = JSON.parse(row?.body ?? 'null').measures[0].separation.patients[0];
    const planted = JSON.stringify(patient).slice(1, -1);
    expect(bytes()).toContain(planted);
    expect(bytes()).toContain('"twoStage"');
    await pool.withdraw(first, [SERIES[0][0]?.pseudonym ?? '']);
    expect(bytes()).not.toContain(planted);
    expect(bytes()).not.toContain('"twoStage"');
    await pool.service.close();
  });
});

/** Every number of both alike to 1e-12 of its size, and everything else the same. */
function expectEqualNumbers(found: unknown, expected: unknown, path = ''): void {
  if (typeof expected === 'number' && typeof found === 'number') {
    expect(Math.abs(found - expected), path).toBeLessThanOrEqual(1e-12 * Math.max(1, Math.abs(expected)));
    return;
  }
  if (typeof expected !== 'object' || expected === null || typeof found !== 'object' || found === null) {
    expect(found, path).toEqual(expected);
    return;
  }
  expect(Object.keys(found), path).toEqual(Object.keys(expected));
  for (const [key, value] of Object.entries(expected)) {
    expectEqualNumbers(Reflect.get(found, key), value, `${path}.${key}`);
  }
}
