/**
 * Kills a clinic's program while it pools, and now and then the service with it, thousands of times:
 * `npm run faults:pool -- --times 3000 [--seed 1] [--on postgres]`. Prints the figures as it goes on; ends with 1 where a
 * promise was broken.
 */
import { killClinicOverAndOver } from './pool-kill-rounds';
import { runKills } from './run-kills';

await runKills('pool-until-killed', killClinicOverAndOver);
