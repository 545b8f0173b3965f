import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import type { CentreStatistics } from '@longhold/core/pooled';
import {
  findPostgres,
  startPostgres,
  temporaryFolder,
  testService,
  type PrivatePostgres,
} from '../service.fixture';
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
        pool = await TestPool.start(place, {}, computer);
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
  });
});
