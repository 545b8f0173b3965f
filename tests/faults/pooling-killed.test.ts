import { setTimeout as pause } from 'node:timers/promises';
import { createRandom } from '@longhold/core/numeric';
import { afterAll, beforeAll, expect, it } from 'vitest';
import {
  coordinate,
  DEFINITION,
  desktop,
  inventedFiles,
  poolingFolder,
  servicePrograms,
  startLonghold,
  type Desktop,
  type Service,
} from '../pooling/programs';
import { recordingProxy, type RecordingProxy } from '../pooling/recording-proxy';
import { serveStore } from '../pooling/served-host';
import { FAULT_ROUNDS } from './rounds';

// The programs as they are shipped; `npm run faults:pool` kills the same code thousands of times.

const SEED = 20261126;
/** Each round is a program started, killed and gone on with. */
const ROUNDS = Math.ceil(FAULT_ROUNDS / 14);
/** The slowest answer of the service, in milliseconds; so kills fall between a request and its answer as well. */
const SLOW_ANSWER = 60;

const folder = poolingFolder(afterAll);
const programs = servicePrograms(folder);
const random = createRandom(SEED);
let service: Service;
let proxy: RecordingProxy;
let clinic: Desktop;
let files: string;
let changes = 0;

beforeAll(async () => {
  service = await programs.start();
  const { invite } = await coordinate(folder, service, programs.coordinatorCode(), DEFINITION);
  proxy = await recordingProxy(service.address, SLOW_ANSWER);
  files = await inventedFiles(folder, 'files', 6, 24);
  clinic = desktop(folder, 'clinic');
  await clinic.bringIn(files);
  await clinic.link(proxy.address, await invite('centre'));
});
afterAll(async () => {
  await proxy.close();
  await service.stop();
});

it(
  `The command line killed at ${ROUNDS} random moments of sending has sent, once it was gone on with, each record once and in its latest form`,
  () =>
    killRounds(async () => {
      const { digest } = await clinic.pool('preview');
      const child = startLonghold(['pool', 'send', '--confirm', String(digest), '--store', clinic.store]);
      const ended = new Promise<number | null>((resolve) => child.on('close', resolve));
      await untilAsked(() => child.exitCode !== null);
      await pause(random.uniform() * 8 * SLOW_ANSWER);
      child.kill('SIGKILL');
      return (await ended) !== 0;
    }),
  60_000 + 30_000 * ROUNDS,
);

it(
  `A served program killed at ${ROUNDS} random moments while its page sends has sent, once it was gone on with, each record once and in its latest form`,
  () =>
    killRounds(async () => {
      const host = await serveStore(clinic.store);
      const { digest } = await host.ask('pooling.preview');
      await host.ask('pooling.send', { digest });
      await untilAsked(() => false);
      await pause(random.uniform() * 8 * SLOW_ANSWER);
      const { state } = await host.ask('pooling.progress');
      await host.kill();
      return state === 'running';
    }),
  60_000 + 30_000 * ROUNDS,
);

let asked = 0;
/** Waits until the program has asked the service in this round, or has ended. */
async function untilAsked(hasEnded: () => boolean): Promise<void> {
  while (proxy.requests('session') === asked && !hasEnded()) await pause(5);
}

/** @param sendAndKill sends and is killed; whether it was cut off before its end */
async function killRounds(sendAndKill: () => Promise<boolean>): Promise<void> {
  let cut = 0;
  for (let round = 1; round <= ROUNDS; round++) {
    await clinic.bringIn(files, grown(++changes));
    asked = proxy.requests('session');
    if (await sendAndKill()) cut++;
    // What was confirmed before the kill goes without being asked again; what was not is shown anew.
    const state = await clinic.pool('check');
    expect(state).toMatchObject({ outbox: { batches: 0, records: 0, withdrawals: 0, sheet: false } });
    await clinic.send();
    const { counts } = await clinic.pool('preview');
    const where = `round ${round}, seed ${SEED}`;
    expect(counts, where).toMatchObject({ new: 0, changed: 0, conflict: 0 });
  }
  expect(cut).toBeGreaterThan(0);
  const { 'in-pool': held } = Object((await clinic.pool('preview'))['counts']);
  const { out } = await programs.command('verify');
  expect(out).toContain(`${held} records, 0 withdrawn patients.`);
  expect(out).toContain('Nothing is wrong.');
}

/** The clinic's files with every mandibular length a little longer in each round. */
function grown(round: number): (text: string, name: string) => string {
  return (text, name) =>
    name === 'measurements.csv'
      ? text.replace(
          /^([^,]*,[^,]*,[^,]*,[^,]*,Co-Gn),([0-9.]+),/gm,
          (_all, start: string, value: string) => `${start},${(Number(value) + round / 10).toFixed(1)},`,
        )
      : text;
}
