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
import { FAULT_ROUNDS } from './rounds';

const SEED = 20261127;
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

beforeAll(async () => {
  service = await programs.start();
  const { invite } = await coordinate(folder, service, programs.coordinatorCode(), DEFINITION);
  proxy = await recordingProxy(service.address, SLOW_ANSWER);
  files = await inventedFiles(folder, 'files', 6, 24);
  clinic = desktop(folder, 'clinic');
  await clinic.bringIn(files);
  await clinic.link(proxy.address, await invite('centre'), 'statistics');
});
afterAll(async () => {
  await proxy.close();
  await service.stop();
});

it(
  `The command line killed at ${ROUNDS} random moments of sending statistics goes on by itself, and its latest ones are at the service`,
  async () => {
    let cut = 0;
    for (let round = 1; round <= ROUNDS; round++) {
      await clinic.bringIn(files, grown(round));
      const { digest } = await clinic.pool('preview');
      const asked = proxy.requests('session');
      const child = startLonghold(['pool', 'send', '--confirm', String(digest), '--store', clinic.store]);
      const ended = new Promise<number | null>((resolve) => child.on('close', resolve));
      while (proxy.requests('session') === asked && child.exitCode === null) await pause(5);
      await pause(random.uniform() * 8 * SLOW_ANSWER);
      child.kill('SIGKILL');
      if ((await ended) !== 0) cut++;
      // What was confirmed before the kill goes without being asked again.
      const where = `round ${round}, seed ${SEED}`;
      expect(await clinic.pool('check'), where).toMatchObject({ outbox: { batches: 0, statistics: false } });
      expect(await clinic.pool('preview'), where).toMatchObject({ isOthers: false, somethingToSend: false });
      expect(proxy.requests('push') + proxy.requests('sheet'), where).toBe(0);
    }
    expect(cut).toBeGreaterThan(0);
    const { out } = await programs.command('verify');
    expect(out).toContain('Nothing is wrong.');
  },
  60_000 + 30_000 * ROUNDS,
);

/** The clinic's files with mandibular lengths larger by a thousandth more in each round, so that gains change too. */
function grown(round: number): (text: string, name: string) => string {
  return (text, name) =>
    name === 'measurements.csv'
      ? text.replace(
          /^([^,]*,[^,]*,[^,]*,[^,]*,Co-Gn),([0-9.]+),/gm,
          (_all, start: string, value: string) =>
            `${start},${(Number(value) * (1 + round / 1000)).toFixed(2)},`,
        )
      : text;
}
