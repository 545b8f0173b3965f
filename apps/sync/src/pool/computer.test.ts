import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import {
  INVENTED_SHEET,
  inventedDefinition,
} from '../../../../packages/core/src/pooled/invented-centres.fixture';
import { temporaryFolder } from '../service.fixture';
import { ownThread, ThreadComputer, type PoolComputer } from './computer';
import { bundlePoolWorker, recordsOf, TestPool } from './pool.fixture';

const folder = temporaryFolder(afterAll);
let workerFile: string;
beforeAll(async () => {
  workerFile = await bundlePoolWorker(folder);
});

const SERIES = [recordsOf(100, 1), recordsOf(100, 2), recordsOf(100, 3)];
let stores = 0;

async function startPool(computer: PoolComputer, series = SERIES): Promise<TestPool> {
  const place = { kind: 'sqlite', path: join(folder, `${stores++}.sqlite`) } as const;
  const pool = await TestPool.start(place, {}, computer);
  for (const records of series) await pool.send(await pool.centre(), records);
  return pool;
}

describe('The thread that computes pooled answers', () => {
  it('leaves the service free to answer others meanwhile', async () => {
    const pool = await startPool(new ThreadComputer(workerFile));
    const began = performance.now();
    let isDone = false;
    const asked = pool.view(pool.reader).finally(() => {
      isDone = true;
    });
    asked.catch(() => undefined);
    const others: number[] = [];
    while (!isDone) {
      const before = performance.now();
      await pool.service.ask('session', {}, pool.coordinator);
      others.push(performance.now() - before);
      await new Promise((resolve) => setTimeout(resolve, 10));
    }
    const whole = performance.now() - began;
    expect((await asked).measures[0]?.treatedBetween).toEqual({ lower: 300, upper: 320 });
    expect(others.length).toBeGreaterThan(20);
    expect(Math.max(...others)).toBeLessThan(whole / 3);
    await pool.service.close();
  });

  it('gives to the last digit what is computed without it', async () => {
    const small = SERIES.map((records) => records.slice(0, 30));
    const text = { version: 1, body: JSON.stringify(inventedDefinition()) };
    const sheet = JSON.stringify(INVENTED_SHEET);
    const records = small[0]?.map((record) => JSON.stringify(record)) ?? [];
    const thread = new ThreadComputer(workerFile);
    const texts = await thread.centre(records, sheet, text);
    expect(texts).toEqual(await ownThread.centre(records, sheet, text));
    expect(await thread.estimates(texts.statistics, text)).toBe(texts.estimates);
    await thread.stop();
  });

  it('that dies costs nothing but the new answer: the question is answered, the fault logged, the next one computed', async () => {
    const dying = join(folder, 'dying.mjs');
    writeFileSync(
      dying,
      "import { parentPort } from 'node:worker_threads'; parentPort.on('message', () => process.exit(7));",
    );
    const computers = [new ThreadComputer(dying), ownThread];
    const current = (): PoolComputer => computers[0] ?? ownThread;
    const pool = await startPool(
      {
        centre: (...of) => current().centre(...of),
        estimates: (...of) => current().estimates(...of),
        pool: (...of) => current().pool(...of),
        stop: () => current().stop(),
      },
      SERIES.map((records) => records.slice(0, 30)),
    );
    expect(await pool.ask(pool.reader)).toMatchObject({ kind: 'waiting', why: 'computing' });
    expect(pool.service.logged()).toContain('ThreadEnded');
    computers.shift();
    expect(await pool.release(pool.reader)).toBe(1);
    await pool.service.close();
  });

  it('is stopped with the service in the midst of a computation', async () => {
    const pool = await startPool(new ThreadComputer(workerFile));
    const asked = pool.ask(pool.reader);
    await new Promise((resolve) => setTimeout(resolve, 150));
    const before = performance.now();
    await pool.service.server.close();
    expect(performance.now() - before).toBeLessThan(1500);
    expect(await asked).toMatchObject({ kind: 'waiting', why: 'computing' });
    await pool.service.store.close();
  });
});
