import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import type { CentreStatistics } from '@longhold/core/pooled';
import { findPostgres, startPostgres, temporaryFolder, type PrivatePostgres } from '../service.fixture';
import type { StorePlace } from '../store/open-store';
import { recordsOf, TestPool } from './pool.fixture';

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
  });
});
