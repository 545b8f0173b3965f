import { randomUUID } from 'node:crypto';
import { mkdtempSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import { findPostgres, quickDisk, startPostgres } from '../../apps/sync/src/service.fixture';
import { bundlePrograms, type ChildPrograms } from './child-programs';

/** What rounds of killing are given. */
export interface KillsGiven {
  readonly programs: ChildPrograms;
  /** The environment of a service with an empty store. */
  readonly newStore: () => Readonly<Record<string, string>>;
  /** Ends a database that is a process of its own as a crash does, and starts it again. */
  readonly crashDatabase?: () => void;
  readonly folder: string;
  readonly rounds: number;
  readonly seed: number;
  /** Told the figures from time to time. */
  readonly say?: (line: string) => void;
}

/** Runs rounds of killing as `--times`, `--seed` and `--on` of the command line say, and ends the process. */
export async function runKills(
  program: string,
  rounds: (given: KillsGiven) => Promise<unknown>,
): Promise<never> {
  const { values } = parseArgs({
    options: {
      times: { type: 'string', default: '1000' },
      seed: { type: 'string', default: '1' },
      on: { type: 'string', default: 'sqlite' },
    },
  });
  const folder = mkdtempSync(join(quickDisk(), 'longhold-kill-'));
  const found = values.on === 'postgres' ? findPostgres() : null;
  if (values.on === 'postgres' && found === null) throw new Error('there is no PostgreSQL on this machine');
  const postgres = found === null ? null : startPostgres(found);
  const programs = await bundlePrograms([program]);
  try {
    await rounds({
      programs,
      folder,
      rounds: Number(values.times),
      seed: Number(values.seed),
      say: (line) => console.log(line),
      newStore: () =>
        postgres === null
          ? { LONGHOLD_SYNC_STORE: join(folder, `${randomUUID()}.sqlite`) }
          : { DATABASE_URL: postgres.newDatabase() },
      ...(postgres === null ? {} : { crashDatabase: () => postgres.crash() }),
    });
    console.log(`Every promise held (seed ${values.seed}).`);
  } finally {
    programs.remove();
    postgres?.stop();
    rmSync(folder, { recursive: true, force: true });
  }
  return process.exit();
}
