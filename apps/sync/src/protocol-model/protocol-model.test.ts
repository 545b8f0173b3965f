import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import fc from 'fast-check';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import {
  findPostgres,
  quickDisk,
  startPostgres,
  temporaryFolder,
  type PrivatePostgres,
} from '../service.fixture';
import type { StorePlace } from '../store/open-store';
import { checkEverything, newMirror, type Clinics } from './clinics.fixture';
import { SHARED_DEFINITION, studyCommands } from './commands.fixture';
import { openGround } from './ground.fixture';
import type { Model } from './reference-model.fixture';

const folder = temporaryFolder(afterAll, quickDisk());
const programs = findPostgres();
let postgres: PrivatePostgres | null = null;
beforeAll(() => {
  postgres = programs === null ? null : startPostgres(programs);
});
afterAll(() => postgres?.stop());

/** LONGHOLD_MODEL_RUNS sets how many studies are tried, for a long run. */
const RUNS = { sqlite: 40, postgres: 8 };
const MOST_COMMANDS = 40;
/** The same studies in each run of the tests; LONGHOLD_MODEL_SEED draws others. */
const SEED = Number(process.env['LONGHOLD_MODEL_SEED'] ?? 20260310);

function newPlace(kind: StorePlace['kind']): StorePlace {
  if (kind === 'sqlite') return { kind, path: join(folder, `${randomUUID()}.sqlite`) };
  if (postgres === null) throw new Error('no PostgreSQL was started');
  return { kind, url: postgres.newDatabase() };
}

/** A new study with a coordinator and two clinics of two devices each. */
async function begin(kind: StorePlace['kind']): Promise<{ model: Model; real: Clinics }> {
  const ground = await openGround(
    folder,
    () => newPlace(kind),
    () => postgres?.crash(),
  );
  const service = ground.service();
  const { token: coordinator } = await service.enrolled('coordinator');
  await service.ask('publish', { basedOn: 0, definition: SHARED_DEFINITION }, coordinator);
  const devices: Model['devices'] = [];
  const members: string[] = [];
  for (const centre of [0, 1]) {
    const first = await service.enrolled('centre');
    members.push(first.member);
    const { data } = await service.ask('invite', { role: 'centre', member: first.member }, first.token);
    const { data: second } = await service.ask('enrol', { code: data['code'] });
    for (const { token, device } of [
      first,
      { token: String(second['token']), device: String(second['device']) },
    ]) {
      devices.push({ id: device, centre, token, next: null, revoked: false });
    }
  }
  const mirrors = [null, 0, 1].map(newMirror);
  return {
    model: { definition: 1, devices, centres: [new Map(), new Map()], batches: [], sequence: 0 },
    real: { ground, coordinator, members, mirrors },
  };
}

describe.each(['sqlite', 'postgres'] as const)('On %s', (kind) => {
  const runs = Number(process.env['LONGHOLD_MODEL_RUNS'] ?? RUNS[kind]);
  it.skipIf(kind === 'postgres' && programs === null)(
    `the service keeps the protocol's promises in ${runs} invented studies with crashes, rivals and restored backups`,
    async () => {
      let commands = 0;
      await fc.assert(
        fc.asyncProperty(studyCommands(MOST_COMMANDS), async (given) => {
          const study = await begin(kind);
          try {
            await fc.asyncModelRun(() => study, given);
            await checkEverything(study.real, study.model);
            commands += [...given].length;
          } finally {
            await study.real.ground.close();
          }
        }),
        { numRuns: runs, seed: SEED },
      );
      expect(commands).toBeGreaterThan(runs * 5);
    },
    60_000 + runs * 10_000,
  );
});
