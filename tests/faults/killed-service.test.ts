import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import {
  findPostgres,
  quickDisk,
  startPostgres,
  temporaryFolder,
  type PrivatePostgres,
} from '../../apps/sync/src/service.fixture';
import { bundlePrograms, type ChildPrograms } from './child-programs';
import { killOverAndOver } from './sync-kill-rounds';

// As with the clinic's store: a killed process loses what it kept in memory, and what it gave to the system stays.

const ROUNDS = { sqlite: 8, postgres: 4 };
const folder = temporaryFolder(afterAll, quickDisk());
const found = findPostgres();
let postgres: PrivatePostgres | null = null;
let programs: ChildPrograms;
beforeAll(async () => {
  programs = await bundlePrograms(['send-until-killed']);
  if (found !== null) postgres = startPostgres(found);
});
afterAll(() => {
  programs.remove();
  postgres?.stop();
});

it(`A service on SQLite and a clinic killed at ${ROUNDS.sqlite} random moments keep every acknowledged change once`, async () => {
  const newStore = () => ({ LONGHOLD_SYNC_STORE: join(folder, `${randomUUID()}.sqlite`) });
  const figures = await killOverAndOver({ programs, newStore, folder, rounds: ROUNDS.sqlite, seed: 31 });
  expect(figures.answered).toBeGreaterThan(0);
});

it.skipIf(found === null)(
  `A service on PostgreSQL and a clinic killed at ${ROUNDS.postgres} random moments, in some after a crash of the database, keep every acknowledged change once`,
  async () => {
    const newStore = () => ({ DATABASE_URL: postgres?.newDatabase() ?? '' });
    const crashDatabase = () => postgres?.crash();
    const given = { programs, newStore, folder, rounds: ROUNDS.postgres, seed: 32, crashDatabase };
    const figures = await killOverAndOver(given);
    expect(figures.answered).toBeGreaterThan(0);
    expect(figures.databaseCrashes).toBeGreaterThan(0);
  },
);
