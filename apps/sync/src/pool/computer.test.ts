import { spawn } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { centreStatisticsSchema, type CentreStatistics, type GainSums } from '@longhold/core/pooled';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import {
  INVENTED_SHEET,
  inventedDefinition,
} from '../../../../packages/core/src/pooled/invented-centres.fixture';
import { temporaryFolder } from '../service.fixture';
import { centreTexts, type CentreTexts } from './compute';
import { ownThread, type PoolComputer } from './computer';
import { bundlePoolProcess, recordsOf, TestPool } from './pool.fixture';
import { ProcessComputer } from './process-computer';

const folder = temporaryFolder(afterAll);
let program: string;
const LIMITS = { centre: 60_000, pool: 60_000, memory: 512 };
beforeAll(async () => {
  program = await bundlePoolProcess(folder);
});

const SERIES = [recordsOf(100, 1), recordsOf(100, 2), recordsOf(100, 3)];
let stores = 0;

async function startPool(computer: PoolComputer, series = SERIES): Promise<TestPool> {
  const place = { kind: 'sqlite', path: join(folder, `${stores++}.sqlite`) } as const;
  const pool = await TestPool.start(place, {}, computer);
  for (const records of series) await pool.send(await pool.centre(), records);
  return pool;
}

const DEFINITION = { version: 1, body: JSON.stringify(inventedDefinition({ years: [1, 2] })) };

/** One patient each in intervals that overlap in chains: a curve that takes many minutes. */
function costlyStatistics(): string {
  const { statistics } = centreTexts([], JSON.stringify(INVENTED_SHEET), DEFINITION);
  return JSON.stringify(costly(centreStatisticsSchema.parse(JSON.parse(statistics))));
}

/** The same in statistics that records could give: everyone has one gain, and a loss that was found. */
function costly(empty: CentreStatistics): CentreStatistics {
  const losses = Array.from({ length: COSTLY_PATIENTS }, (_, i) => ({
    group: null,
    left: (i * 7_919) % 12_000,
    right: ((i * 7_919) % 12_000) + 1 + ((i * 104_729 + 601 * Math.floor(i / 12_000)) % 3_000),
    patients: 1,
  }));
  const found = new Map<number, number>();
  for (const { right } of losses) found.set(right, (found.get(right) ?? 0) + 1);
  const endings = [...found].map(([day, patients]) => ({ day, ending: 'lost' as const, patients }));
  const patients = losses.map((): GainSums => [1, 1, 0, 0, 0, 0, 0]);
  const separation = { patients, endVelocity: 0, endPatients: COSTLY_PATIENTS, curve: null };
  return {
    ...empty,
    treated: COSTLY_PATIENTS,
    measures: empty.measures.map((own) => ({ ...own, losses, endings, separation })),
  };
}
const COSTLY_PATIENTS = 60_000;

async function* onlyCentre(texts: CentreTexts) {
  yield { centre: 'only', ...texts };
}

describe('The process that computes pooled answers', () => {
  it('leaves the service free to answer others meanwhile', async () => {
    const pool = await startPool(new ProcessComputer(program, LIMITS));
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
    const computer = new ProcessComputer(program, LIMITS);
    const texts = await computer.centre(records, sheet, text);
    expect(texts).toEqual(await ownThread.centre(records, sheet, text));
    expect(await computer.estimates(texts.statistics, text)).toBe(texts.estimates);
    await computer.stop();
  });

  it('that dies costs nothing but the new answer: the question is answered, the fault logged, the next one computed', async () => {
    const dying = join(folder, 'dying.mjs');
    writeFileSync(dying, "process.on('message', () => process.exit(7));");
    const computers = [new ProcessComputer(dying, LIMITS), ownThread];
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
    expect(pool.service.logged()).toContain('computation-ended');
    computers.shift();
    expect(await pool.release(pool.reader)).toBe(1);
    await pool.service.close();
  });

  it('computes with statistics of millions, and where the engine gives up only the process ends', async () => {
    const computer = new ProcessComputer(program, { ...LIMITS, memory: 64 });
    const sheet = JSON.stringify(INVENTED_SHEET);
    const records = SERIES[0]?.map((record) => JSON.stringify(record)) ?? [];
    const { statistics, estimates } = await computer.centre(records.slice(0, 20), sheet, DEFINITION);
    const parsed = centreStatisticsSchema.parse(JSON.parse(statistics));
    // Ten million patients on each of sixty days: written out one by one they are more than a list may hold.
    const endings = Array.from({ length: 60 }, (_, day) => ({
      day,
      ending: 'lost' as const,
      patients: 10_000_000,
    }));
    const large = JSON.stringify({
      ...parsed,
      measures: parsed.measures.map((own) => ({ ...own, endings })),
    });
    const views = await computer.pool(onlyCentre({ statistics: large, estimates }), DEFINITION);
    expect(JSON.parse(views.coordinator).measures).toHaveLength(1);
    // More numbers than the process has memory for.
    const heavy = `[${'[1],'.repeat(8_000_000)}1]`;
    await expect(computer.estimates(heavy, DEFINITION)).rejects.toMatchObject({ fault: 'ended' });
    expect((await computer.centre(records.slice(0, 20), sheet, DEFINITION)).statistics).toBe(statistics);
    await computer.stop();
  });

  it('is ended at its time limit, and the next one computes', async () => {
    const computer = new ProcessComputer(program, { ...LIMITS, centre: 5_000 });
    const costly = computer.estimates(costlyStatistics(), DEFINITION);
    await expect(costly).rejects.toMatchObject({ fault: 'took-too-long' });
    const sheet = JSON.stringify(INVENTED_SHEET);
    expect(await computer.centre([], sheet, DEFINITION)).toEqual(centreTexts([], sheet, DEFINITION));
    await computer.stop();
  });

  it('keeps no centre from its answer where another one sends sixty thousand overlapping intervals', async () => {
    const few = SERIES.map((records) => records.slice(0, 30));
    const pool = await startPool(new ProcessComputer(program, { ...LIMITS, centre: 10_000 }), few);
    const { token, member } = await pool.centre();
    const input = { replaces: null, statistics: costly(pool.statisticsOf([])), withdrawn: 0 };
    expect((await pool.service.ask('statistics', input, token)).reason).toBe(null);
    const setAside = [{ centre: member, number: 4, reason: 'took-too-long' }];
    // Who asks is answered within twenty seconds, at first perhaps that it is being computed.
    await vi.waitFor(
      async () =>
        expect(await pool.ask(pool.coordinator)).toMatchObject({ kind: 'released', centres: 3, setAside }),
      { timeout: 90_000, interval: 500 },
    );
    expect(await pool.ask(token)).toMatchObject({ kind: 'released', centres: 3, setAside });
    await pool.service.close();
  }, 120_000);

  it('gives nothing for kept statistics that no records give, and goes on', async () => {
    const computer = new ProcessComputer(program, LIMITS);
    const sheet = JSON.stringify(INVENTED_SHEET);
    const { statistics, estimates } = await computer.centre([], sheet, DEFINITION);
    const impossible = JSON.stringify({ ...JSON.parse(statistics), treated: 30 });
    await expect(computer.estimates(impossible, DEFINITION)).rejects.toMatchObject({
      fault: 'failed',
      name: 'ImpossibleStatistics',
    });
    expect(await computer.estimates(statistics, DEFINITION)).toBe(estimates);
    await computer.stop();
  });

  it('does not outlive a service that was killed in the midst of a computation', async () => {
    const service = join(folder, 'service.mjs');
    const request = { kind: 'estimates', statistics: costlyStatistics(), definition: DEFINITION };
    // Stands for the service. What computes holds its output open, too, so that this closes once both are gone.
    writeFileSync(
      service,
      `import { fork } from 'node:child_process';
       const options = { serialization: 'advanced', stdio: ['ignore', 'inherit', 'ignore', 'ipc'] };
       fork(${JSON.stringify(program)}, [], options).send(${JSON.stringify(request)});
       process.stdout.write('asked');`,
    );
    const running = spawn(process.execPath, [service], { stdio: ['ignore', 'pipe', 'ignore'] });
    let isGone = false;
    const gone = new Promise<void>((resolve) => running.stdout.once('close', resolve)).then(() => {
      isGone = true;
    });
    await new Promise((resolve) => running.stdout.once('data', resolve));
    await new Promise((resolve) => setTimeout(resolve, 1_000));
    expect(isGone).toBe(false);
    running.kill('SIGKILL');
    await gone;
  }, 30_000);

  it('is stopped with the service in the midst of a computation', async () => {
    const pool = await startPool(new ProcessComputer(program, LIMITS));
    const asked = pool.ask(pool.reader);
    await new Promise((resolve) => setTimeout(resolve, 150));
    const before = performance.now();
    await pool.service.server.close();
    expect(performance.now() - before).toBeLessThan(1500);
    expect(await asked).toMatchObject({ kind: 'waiting', why: 'computing' });
    await pool.service.store.close();
  });
});
