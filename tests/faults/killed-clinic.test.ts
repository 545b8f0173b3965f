import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { quickDisk, temporaryFolder } from '../../apps/sync/src/service.fixture';
import { bundlePrograms, type ChildPrograms } from './child-programs';
import { killClinicOverAndOver } from './pool-kill-rounds';

// `npm run faults:pool` does the same thousands of times.

const ROUNDS = 6;
const folder = temporaryFolder(afterAll, quickDisk());
let programs: ChildPrograms;
beforeAll(async () => {
  programs = await bundlePrograms(['pool-until-killed']);
});
afterAll(() => programs.remove());

it(`Clinics killed ${ROUNDS} times while they pool, in some the service with them, have lost nothing that was promised, and nobody withdrawn is at the service`, async () => {
  const newStore = () => ({ LONGHOLD_SYNC_STORE: join(folder, `${randomUUID()}.sqlite`) });
  const figures = await killClinicOverAndOver({ programs, newStore, folder, rounds: ROUNDS, seed: 5 });
  expect(figures.serviceToo).toBeGreaterThan(0);
  expect(figures.waiting).toBeGreaterThan(0);
});
