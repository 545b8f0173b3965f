/** The command line: `npm run --silent longhold -- <command>`. Builds what is stale, then runs it in this process. */
import { join } from 'node:path';
import { buildIfStale, ROOT } from './build-if-stale.mjs';
import { endWithNpm } from './end-with-npm.mjs';

const FAULT_OF_LONGHOLD = 70;

endWithNpm();

if (await buildIfStale()) {
  // npm runs its scripts in the project's folder; paths given by the user are meant from where the user stands.
  const standing = process.env.npm_lifecycle_event === 'longhold' ? process.env.INIT_CWD : undefined;
  if (standing !== undefined) process.chdir(standing);
  await import(join(ROOT, 'apps', 'desktop', 'dist', 'cli', 'longhold.cjs'));
} else {
  process.exitCode = FAULT_OF_LONGHOLD;
}
