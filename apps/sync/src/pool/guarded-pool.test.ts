import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import type { CentreStatistics } from '@longhold/core/pooled';
import {
  findPostgres,
  openTestStore,
  startPostgres,
  temporaryFolder,
  testService,
  type PrivatePostgres,
} from '../service.fixture';
import { backUp, restore } from '../command/backup';
import { UsageError } from '../command/options';
import { removeMemberCalled } from '../command/remove-member';
import { verifyStore } from '../command/verify';
import type { StorePlace } from '../store/open-store';
import { ComputationFailed, ownThread, type ComputationFault, type PoolComputer } from './computer';
import { changedRecord, recordsOf, statisticsDigest, TestPool } from './pool.fixture';

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

/** Statistics with something in the only measure changed. */
function changed(
  statistics: CentreStatistics,
  change: (own: CentreStatistics['measures'][number]) => Partial<CentreStatistics['measures'][number]>,
): CentreStatistics {
  return { ...statistics, measures: statistics.measures.map((own) => ({ ...own, ...change(own) })) };
}

/** Computes in this thread, but fails with statistics of that many treated patients, alone or in the pool too. */
function failingWith(patients: number, fault: ComputationFault, where: 'alone' | 'in the pool') {
  const attempts = { alone: 0, 'in the pool': 0 };
  const isMeant = (statistics: string): boolean => JSON.parse(statistics).treated === patients;
  const computer: PoolComputer = {
    ...ownThread,
    estimates: async (statistics, definition) => {
      if (isMeant(statistics)) attempts.alone++;
      if (where === 'alone' && isMeant(statistics)) throw new ComputationFailed(fault);
      return ownThread.estimates(statistics, definition);
    },
    pool: async (centres, definition) => {
      const all = [];
      for await (const centre of centres) all.push(centre);
      attempts['in the pool']++;
      if (where === 'in the pool' && all.some(({ statistics }) => isMeant(statistics)))
        throw new ComputationFailed(fault);
      return ownThread.pool(
        (async function* () {
          yield* all;
        })(),
        definition,
      );
    },
  };
  return { computer, attempts };
}

describe.each(['sqlite', 'postgres'] as const)('On %s', (kind) => {
  describe.skipIf(kind === 'postgres' && programs === null)('one centre', () => {
    let pool: TestPool;
    afterEach(() => pool.service.close());

    it('cannot send statistics that no records give: they are refused, and the pool stays as it was', async () => {
      pool = await TestPool.start(newPlace(kind));
      for (const records of SERIES) await pool.send(await pool.centre(), records);
      const before = await pool.view(pool.coordinator);
      const { token } = await pool.centre();
      const honest = pool.statisticsOf(recordsOf(30, 4));
      const planted = 'Plantedname, born 2010-02-03';
      const impossible = [
        { ...honest, measures: [] },
        { ...honest, measures: [...honest.measures, ...honest.measures] },
        changed(honest, () => ({ measure: 'SNB', methodError: null })),
        changed(honest, ({ flow }) => ({ flow: flow.map((row) => ({ ...row, year: row.year + 2 })) })),
        changed(honest, ({ flow }) => ({ flow: flow.map((row) => ({ ...row, measured: 10_000_000 })) })),
        changed(honest, ({ retention }) => ({
          retention: retention.map((row) => ({ ...row, patients: 10_000_000, now: -1e12 })),
        })),
        changed(honest, ({ losses }) => ({ losses: losses.map((row) => ({ ...row, group: planted })) })),
        changed(honest, () => ({
          endings: Array.from({ length: 60 }, (_, day) => ({
            day,
            ending: 'lost' as const,
            patients: 10_000_000,
          })),
        })),
      ];
      for (const statistics of impossible) {
        const input = { replaces: null, statistics, withdrawn: 0 };
        expect((await pool.service.ask('statistics', input, token)).reason).toBe('wrong-input');
      }
      expect(pool.service.logged()).not.toContain('Plantedname');
      expect(await pool.view(pool.coordinator)).toEqual(before);
      const input = { replaces: null, statistics: honest, withdrawn: 0 };
      expect((await pool.service.ask('statistics', input, token)).reason).toBe(null);
    });

    it.each([
      ['took-too-long', 'alone', 'took-too-long'],
      ['ended', 'alone', 'needs-too-much'],
      ['failed', 'in the pool', 'not-computable'],
      ['took-too-long', 'in the pool', 'took-too-long'],
    ] as const)(
      'whose statistics cannot be computed (%s, %s) is set aside, and the others get their answer',
      async (fault, where, reason) => {
        const place = newPlace(kind);
        // More patients than the others, so that it is the costliest.
        const { computer, attempts } = failingWith(60, fault, where);
        pool = await TestPool.start(place, { years: [1] }, computer);
        const others = [await pool.centre(), await pool.centre(), await pool.centre()];
        for (const [i, centre] of others.entries()) await pool.send(centre, SERIES[i] ?? []);
        const costly = await pool.centre();
        const statistics = pool.statisticsOf(recordsOf(60, 4));
        const send = (input: unknown) => pool.service.ask('statistics', input, costly.token);
        expect((await send({ replaces: null, statistics, withdrawn: 0 })).reason).toBe(null);
        const told = [{ centre: costly.member, number: 4, reason }];
        expect(await pool.ask(pool.coordinator)).toMatchObject({
          kind: 'released',
          centres: 3,
          setAside: told,
        });
        expect(await pool.ask(costly.token)).toMatchObject({ kind: 'released', centres: 3, setAside: told });
        expect(await pool.ask(pool.reader)).toMatchObject({ kind: 'released', centres: 3, setAside: [] });
        expect(pool.service.logged()).toContain('centre set aside');

        // Neither a question nor a service that starts anew tries it again.
        const tried = { ...attempts };
        await pool.ask(pool.coordinator);
        await pool.service.close();
        pool = pool.at(await testService(place, computer));
        expect(await pool.ask(pool.coordinator)).toMatchObject({
          kind: 'released',
          release: 1,
          setAside: told,
        });
        expect(attempts).toEqual(tried);

        // What others send is computed without it; what it sends itself is computed again.
        await pool.send(others[0] ?? costly, SERIES[0].slice(0, 12).map(changedRecord));
        expect(await pool.ask(pool.reader)).toMatchObject({ release: 2, centres: 3 });
        expect(attempts.alone).toBe(tried.alone);
        const next = {
          replaces: statisticsDigest(statistics),
          statistics: pool.statisticsOf(recordsOf(50, 4)),
        };
        expect((await send({ ...next, withdrawn: 0 })).reason).toBe(null);
        expect(await pool.ask(pool.coordinator)).toMatchObject({ release: 3, centres: 4, setAside: [] });
      },
    );

    it('is not blamed for a computation that fails with nothing, too', async () => {
      const broken = async (): Promise<never> => {
        throw new ComputationFailed('ended');
      };
      const computer: PoolComputer = { ...ownThread, centre: broken, estimates: broken, pool: broken };
      pool = await TestPool.start(newPlace(kind), {}, computer);
      for (const records of SERIES) await pool.send(await pool.centre(), records);
      expect(await pool.ask(pool.coordinator)).toMatchObject({
        kind: 'waiting',
        why: 'computing',
        setAside: [],
      });
    });

    it.each(['records', 'statistics'] as const)(
      'can be taken out with its %s: nothing of it is left, and the others get their answer without it',
      async (way) => {
        const place = newPlace(kind);
        pool = await TestPool.start(place, { years: [1] });
        const others = [await pool.centre(), await pool.centre(), await pool.centre()];
        for (const [i, centre] of others.entries()) await pool.send(centre, SERIES[i] ?? []);
        const gone = await pool.centre();
        const records = recordsOf(40, 4);
        const input = { replaces: null, statistics: pool.statisticsOf(records), withdrawn: 0 };
        if (way === 'records') await pool.send(gone, records);
        else await pool.service.ask('statistics', input, gone.token);
        expect(await pool.ask(pool.reader)).toMatchObject({ release: 1, centres: 4 });
        const waiting = await pool.service.ask(
          'invite',
          { role: 'centre', member: gone.member },
          pool.coordinator,
        );

        const remove = (token: string) => pool.service.ask('removeMember', { member: gone.member }, token);
        for (const token of [pool.reader, gone.token, others[0]?.token ?? ''])
          expect((await remove(token)).reason).toBe('not-allowed');
        const removed = await remove(pool.coordinator);
        expect(removed.data).toMatchObject({ held: way, month: '2026-03' });
        expect(await remove(pool.coordinator)).toEqual(removed);

        // Its devices and codes have ended, and no further ones are given.
        expect((await pool.service.ask('session', {}, gone.token)).reason).toBe('revoked');
        expect((await pool.service.ask('enrol', { code: waiting.data['code'] })).reason).toBe('code-used');
        const again = { role: 'centre', member: gone.member };
        expect((await pool.service.ask('invite', again, pool.coordinator)).reason).toBe('not-found');
        const { data } = await pool.service.ask('devices', {}, pool.coordinator);
        expect(data['devices']).toContainEqual(
          expect.objectContaining({ member: gone.member, revoked: true, removed: true }),
        );

        // Nothing is left of what it sent, nor of an answer that held it.
        const { store } = pool.service;
        const left = await store.read(async (reader) => [
          await reader.patientsOf(gone.member),
          await reader.sheetOf(gone.member),
          (await reader.federatedOf(gone.member))?.body ?? null,
          await reader.statisticsOf(gone.member),
          await reader.releaseView(1, 'reader'),
          (await reader.tombstonesAfter(gone.member, 0, 100)).length,
        ]);
        expect(left).toEqual([[], null, null, null, null, way === 'records' ? 40 : 0]);
        expect((await verifyStore(store)).faults).toEqual([]);

        // Forty patients went, so that the next answer gives away none of them. It is the same after a restart.
        await pool.service.close();
        pool = pool.at(await testService(place));
        expect(await pool.ask(pool.reader)).toMatchObject({ kind: 'released', release: 2, centres: 3 });
        expect(await pool.service.ask('removeMember', { member: gone.member }, pool.coordinator)).toEqual(
          removed,
        );
        pool.service.setClock(new Date('2026-05-01T00:00:00Z'));
        const audit = await pool.service.ask('audit', {}, pool.coordinator);
        expect(audit.data['entries']).toContainEqual(
          expect.objectContaining({
            action: 'removed-member',
            subject: gone.member,
            at: '2026-03',
            count: 1,
          }),
        );
      },
    );

    it("is taken out by the service's operator by its role and number; the coordinator is not", async () => {
      pool = await TestPool.start(newPlace(kind));
      const centre = await pool.centre();
      await pool.send(centre, SERIES[0]);
      const { store } = pool.service;
      const now = () => new Date('2026-03-10T10:00:00Z');
      for (const name of ['centre-2', 'coordinator-1', 'somebody'])
        await expect(removeMemberCalled(store, name, now)).rejects.toThrow(UsageError);
      const removed = await removeMemberCalled(store, 'centre-1', now);
      expect(removed).toMatchObject({ member: centre.member, held: 'records' });
      expect(await removeMemberCalled(store, centre.member, now)).toEqual(removed);
      expect((await pool.service.ask('session', {}, centre.token)).reason).toBe('revoked');
      const file = join(folder, `${randomUUID()}.backup`);
      await backUp(store, file);
      const fresh = await openTestStore(newPlace(kind));
      await restore(fresh, file, now);
      expect(await fresh.read((reader) => reader.removedMembers())).toEqual([removed]);
      // Nobody waits for a member who was taken out.
      expect((await fresh.read((reader) => reader.unheardMembers())).size).toBe(0);
      await fresh.close();
    });

    it('that is taken out while it sends is out, whatever comes first', async () => {
      pool = await TestPool.start(newPlace(kind));
      const centre = await pool.centre();
      const sending = Array.from({ length: 6 }, (_, i) => pool.send(centre, recordsOf(8, 60 + i)));
      const results = [
        ...sending,
        pool.service.ask('removeMember', { member: centre.member }, pool.coordinator),
      ];
      await Promise.allSettled(results);
      await expect(pool.send(centre, recordsOf(8, 70))).rejects.toThrow('revoked');
      expect(await pool.service.store.read((reader) => reader.patientsOf(centre.member))).toEqual([]);
      expect((await verifyStore(pool.service.store)).faults).toEqual([]);
    });
  });
});
