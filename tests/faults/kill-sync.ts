/**
 * Kills the pooling service and a sending clinic thousands of times: `npm run faults:sync -- --times 3000 [--seed 1]
 * [--on postgres]`. A PostgreSQL crashes in some rounds too. Prints the figures as it goes on; ends with 1 where a
 * promise was broken.
 */
import { killOverAndOver } from './sync-kill-rounds';
import { runKills } from './run-kills';

await runKills('send-until-killed', killOverAndOver);
