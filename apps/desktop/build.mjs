/** Bundles the desktop program into dist: the window, the host, its worker, the command line, and the page. */
import { cp, rm } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { build as bundle } from 'esbuild';
import { build as buildPage } from 'vite';

const folder = dirname(fileURLToPath(import.meta.url));
const dist = join(folder, 'dist');

await rm(dist, { recursive: true, force: true });
await bundle({
  absWorkingDir: folder,
  entryPoints: {
    'electron/main': 'electron/main.ts',
    'electron/preload': 'electron/preload.ts',
    'electron/print-page': 'electron/print-page.ts',
    'host/process': 'host/process.ts',
    'host/worker': 'host/jobs/worker.ts',
    'cli/longhold': 'cli/main.ts',
    'cli/find-window': 'cli/find-window.ts',
  },
  outdir: dist,
  outExtension: { '.js': '.cjs' },
  bundle: true,
  platform: 'node',
  // Electron's main process and sandboxed preloads load CommonJS; the oldest Node among them is 18.
  format: 'cjs',
  target: 'node18',
  // libsql finds its native part by path, so it stays a package of its own.
  external: ['electron', '@libsql/*', 'libsql'],
  logLevel: 'error',
  sourcemap: 'linked',
});
await cp(join(folder, 'host/store/migrations'), join(dist, 'host/migrations'), { recursive: true });
await buildPage({ configFile: join(folder, 'renderer/vite.config.ts'), logLevel: 'error' });
