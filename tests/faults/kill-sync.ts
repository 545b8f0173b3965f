/**
 * Kills the pooling service and a sending clinic thousands of times: `npm run faults:sync -- --times 3000 [--seed 1]
 * [--on postgres]`. Prints the figures as it goes on; ends with 1 where a promise was broken.
 */
import { randomUUID } from 'node:crypto';
import { mkdtempSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import { findPostgres, quickDisk, startPostgres } from '../../apps/sync/src/service.fixture';
import { bundlePrograms } from './child-programs';
import { killOverAndOver } from './sync-kill-rounds';

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
const programs = await bundlePrograms(['send-until-killed']);
try {
  await killOverAndOver({
    programs,
    folder,
    rounds: Number(values.times),
    seed: Number(values.seed),
    say: (line) => console.log(line),
    newStore: () =>
      postgres === null
        ? { LONGHOLD_SYNC_STORE: join(folder, `${randomUUID()}.sqlite`) }
        : { DATABASE_URL: postgres.newDatabase() },
  });
  console.log(`Every promise held (seed ${values.seed}).`);
} finally {
  programs.remove();
  postgres?.stop();
  rmSync(folder, { recursive: true, force: true });
}
process.exit();
