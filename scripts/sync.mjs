/** The pooling service: `npm run sync [-- <command>]`. Builds what is stale, then runs it in this process. */
import { join } from 'node:path';
import { buildIfStale, ROOT } from './build-if-stale.mjs';
import { endWithNpm } from './end-with-npm.mjs';

const FAULT_OF_LONGHOLD = 70;

endWithNpm();

if (await buildIfStale()) await import(join(ROOT, 'apps', 'sync', 'dist', 'sync.mjs'));
else process.exitCode = FAULT_OF_LONGHOLD;
