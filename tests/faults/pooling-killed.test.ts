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

const SEED = 20261126;
/** Each round is a program started, killed and gone on with. */
const ROUNDS = Math.ceil(FAULT_ROUNDS / 8);

const folder = poolingFolder(afterAll);
const programs = servicePrograms(folder);
let service: Service;
let proxy: RecordingProxy;
let clinic: Desktop;
let files: string;

beforeAll(async () => {
  service = await programs.start();
  const { invite } = await coordinate(folder, service, programs.coordinatorCode(), DEFINITION);
  // Slow answers, so that kills fall between a request and its answer as well.
  proxy = await recordingProxy(service.address, 120);
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
  `A clinic's program killed at ${ROUNDS} random moments of sending has sent, once it was gone on with, each record once and in its latest form`,
  async () => {
    const random = createRandom(SEED);
    let cut = 0;
    for (let round = 1; round <= ROUNDS; round++) {
      await clinic.bringIn(files, grown(round));
      const { digest } = await clinic.pool('preview');
      const child = startLonghold(['pool', 'send', '--confirm', String(digest), '--store', clinic.store]);
      const ended = new Promise<number | null>((resolve) => child.on('close', resolve));
      const requests = proxy.requests('session');
      while (proxy.requests('session') === requests && child.exitCode === null) await pause(5);
      await pause(random.uniform() * 900);
      child.kill('SIGKILL');
      if ((await ended) !== 0) cut++;
      // What was confirmed before the kill goes without being asked again; what was not is shown anew.
      const state = await clinic.pool('check');
      expect(state).toMatchObject({ outbox: { batches: 0, records: 0, withdrawals: 0, sheet: false } });
      await clinic.send();
      const { counts } = await clinic.pool('preview');
      const where = `round ${round}, seed ${SEED}`;
      expect(counts, where).toMatchObject({ new: 0, changed: 0, conflict: 0 });
    }
    expect(cut).toBeGreaterThan(ROUNDS / 3);
    const { 'in-pool': held } = Object((await clinic.pool('preview'))['counts']);
    const { out } = await programs.command('verify');
    expect(out).toContain(`${held} records, 0 withdrawn patients.`);
    expect(out).toContain('Nothing is wrong.');
  },
  60_000 + 30_000 * ROUNDS,
);

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
