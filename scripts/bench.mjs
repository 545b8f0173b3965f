/** Bundles and runs the bench of the main job: `npm run bench`. */
import { spawnSync } from 'node:child_process';
import { mkdirSync } from 'node:fs';
import { build } from 'esbuild';

const outfile = 'tests/bench/dist/main-job.mjs';
mkdirSync('tests/bench/dist', { recursive: true });
await build({
  entryPoints: ['tests/bench/main-job.ts'],
  bundle: true,
  platform: 'node',
  format: 'esm',
  target: 'node20',
  outfile,
  external: ['@libsql/*'],
  banner: {
    js: "import { createRequire } from 'node:module'; const require = createRequire(import.meta.url);",
  },
  logLevel: 'error',
});
process.exitCode = spawnSync(process.execPath, [outfile], { stdio: 'inherit' }).status ?? 1;
