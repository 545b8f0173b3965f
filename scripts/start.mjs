/**
 * `npm start`: builds what is stale and opens the invented demo, in a window where that is possible, else in a
 * browser. `npm start -- --no-demo` opens the start screen for the clinic's own store; `--port N` chooses the
 * port that a browser is served on.
 */
import { spawn } from 'node:child_process';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import { buildIfStale, ROOT } from './build-if-stale.mjs';
import { endWithNpm } from './end-with-npm.mjs';

const DESKTOP = join(ROOT, 'apps', 'desktop');
const SIGNALS = ['SIGINT', 'SIGTERM', 'SIGHUP'];
/** How long a window may take to close before it is ended by force. */
const CLOSE_MILLISECONDS = 900;

const { demo, port } = readOptions();
const stopping = new AbortController();
const stop = () => stopping.abort();
for (const signal of SIGNALS) process.on(signal, stop);
endWithNpm();

const built = await buildIfStale({ signal: stopping.signal });
if (stopping.signal.aborted) process.exit(0);
if (!built) process.exit(1);

// Part of what has just been built.
const { findWindow } = await import(join(DESKTOP, 'dist', 'cli', 'find-window.cjs'));
const found = findWindow({
  platform: process.platform,
  env: process.env,
  userId: process.getuid?.() ?? null,
  electron: join(ROOT, 'node_modules', 'electron'),
});
const why = found.why ?? (await openWindow(found.binary));
if (why !== null) await serve(why);

/** Serves a browser from this process, by the same command that the command line has. */
async function serve(reason) {
  console.log(`No window was opened, because ${reason}. Open this address in a browser; Ctrl-C ends it.`);
  const words = ['serve', '--browser', ...(demo ? ['--demo'] : []), ...(port ? ['--port', port] : [])];
  process.argv.splice(2, Infinity, ...words);
  // From its first moment on the command answers to the signals itself.
  await import(join(DESKTOP, 'dist', 'cli', 'longhold.cjs'));
  for (const signal of SIGNALS) process.off(signal, stop);
}

/** Opens the window and waits until it is closed. Resolves to why it could not be opened, or to null. */
function openWindow(binary) {
  return new Promise((resolve) => {
    console.log('Opening a window. Closing it, or Ctrl-C here, ends Longhold.');
    // Chromium's remarks about the system it runs on are not for the user; a failure shows in how it ends.
    const words = ['--log-level=3', DESKTOP, ...(demo ? ['--demo'] : [])];
    const window = spawn(binary, words, { stdio: 'inherit' });
    const close = () => {
      window.kill('SIGTERM');
      setTimeout(() => window.kill('SIGKILL'), CLOSE_MILLISECONDS).unref();
    };
    stopping.signal.addEventListener('abort', close);
    window.on('error', (error) => resolve(`Electron could not be started (${error.message})`));
    window.on('exit', (code, signal) => {
      const wanted = stopping.signal.aborted || code === 0;
      resolve(wanted ? null : `Electron ended by itself (${signal ?? `code ${code}`})`);
    });
  });
}

function readOptions() {
  try {
    const { values } = parseArgs({
      options: { 'no-demo': { type: 'boolean', default: false }, port: { type: 'string' } },
    });
    return { demo: !values['no-demo'], port: values.port };
  } catch (error) {
    console.error(`${error.message}\nnpm start takes -- --no-demo and -- --port N.`);
    process.exit(2);
  }
}
