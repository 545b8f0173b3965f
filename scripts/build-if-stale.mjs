/** Builds what is stale before the program runs. Says nothing unless the build fails. */
import { spawn } from 'node:child_process';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

export const ROOT = join(dirname(fileURLToPath(import.meta.url)), '..');

const TURBO = join(ROOT, 'node_modules', 'turbo', 'bin', 'turbo');

/**
 * Brings every bundle up to date; turborepo knows from the sources whether there is anything to do. Resolves to
 * whether the bundles may be used; when not, the build's own words are on stderr. `signal` ends it early.
 */
export function buildIfStale({ signal } = {}) {
  return new Promise((resolve) => {
    const words = [];
    const build = spawn(
      process.execPath,
      [TURBO, 'run', 'build', '--output-logs=errors-only', '--log-prefix=none', '--no-update-notifier'],
      {
        cwd: ROOT,
        stdio: ['ignore', 'pipe', 'pipe'],
        env: { ...process.env, TURBO_TELEMETRY_DISABLED: '1', DO_NOT_TRACK: '1', FORCE_COLOR: '0' },
        signal,
        killSignal: 'SIGTERM',
      },
    );
    for (const stream of [build.stdout, build.stderr]) stream.on('data', (chunk) => words.push(chunk));
    build.on('error', (error) => {
      if (signal?.aborted !== true) console.error(`The build could not be started: ${error.message}`);
      resolve(false);
    });
    build.on('close', (code) => {
      if (code !== 0 && signal?.aborted !== true) {
        process.stderr.write(Buffer.concat(words));
        console.error('The build failed. Run "npm ci" and try again.');
      }
      resolve(code === 0);
    });
  });
}
