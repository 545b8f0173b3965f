import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { silentLog } from '../http/log';
import { temporaryFolder } from '../service.fixture';
import { ownThread, type PoolComputer } from './computer';
import { Pool } from './pool';
import { recordsOf, TestPool } from './pool.fixture';

const folder = temporaryFolder(afterAll);
const SERIES = [recordsOf(12, 1), recordsOf(12, 2), recordsOf(12, 3)];
/** Longer than any test. */
const NEVER = { least: 3_600_000, most: 3_600_000 };
let stores = 0;

/** A computer that says how many centres' statistics were made, each of them after some milliseconds. */
function counting(milliseconds = 0): PoolComputer & { centres: number } {
  const computer = {
    ...ownThread,
    centres: 0,
    centre: async (...of: Parameters<PoolComputer['centre']>) => {
      computer.centres++;
      await new Promise((resolve) => setTimeout(resolve, milliseconds));
      return ownThread.centre(...of);
    },
  };
  return computer;
}

async function startPool(computer: PoolComputer, quiet = NEVER): Promise<TestPool> {
  const place = { kind: 'sqlite', path: join(folder, `${stores++}.sqlite`) } as const;
  const pool = await TestPool.start(place, {}, computer, quiet);
  for (const records of SERIES) await pool.send(await pool.centre(), records);
  return pool;
}

describe('The statistics of centres', () => {
  it('are made unasked once it is quiet; the first question waits for none, and nothing is released before', async () => {
    const computer = counting();
    const pool = await startPool(computer, { least: 30, most: 200 });
    const { store } = pool.service;
    const began = performance.now();
    let kept = 0;
    while (kept < SERIES.length && performance.now() - began < 20_000) {
      await new Promise((resolve) => setTimeout(resolve, 20));
      kept = (await store.read((reader) => reader.statisticsKept())).size;
    }
    expect(kept).toBe(SERIES.length);
    expect(await store.read((reader) => reader.releases())).toEqual([]);
    const made = computer.centres;
    expect(await pool.release(pool.reader)).toBe(1);
    expect(computer.centres).toBe(made);
    await pool.service.close();
  });

  it('are made once, where somebody asks while they are made unasked', async () => {
    const pool = await startPool(ownThread);
    const { store } = pool.service;
    const computer = counting(30);
    const prepared = new Pool(store, computer, silentLog, NEVER);
    const preparing = prepared.prepare();
    expect(await prepared.refresh(60_000)).toBe(true);
    await preparing;
    expect(computer.centres).toBe(SERIES.length);
    expect(await store.read((reader) => reader.releases())).toHaveLength(1);
    await prepared.stop();
    await pool.service.close();
  });

  it('are made again of a centre that sent something meanwhile, never of what it was', async () => {
    const pool = await startPool(ownThread);
    const { store } = pool.service;
    const prepared = new Pool(store, counting(40), silentLog, { least: 10, most: 50 });
    const preparing = prepared.prepare();
    await pool.send(await pool.centre(), recordsOf(12, 4));
    await preparing;
    expect(await prepared.refresh(60_000)).toBe(true);
    const [release] = await store.read((reader) => reader.releases());
    const centres = await store.read((reader) => reader.releaseCentres(release?.number ?? 0));
    expect(centres).toHaveLength(SERIES.length + 1);
    expect(release?.sequence).toBe((await store.read((reader) => reader.study())).sequence);
    await prepared.stop();
    await pool.service.close();
  });
});
