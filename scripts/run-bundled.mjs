/** Bundles a TypeScript program under tests and runs it: `node scripts/run-bundled.mjs tests/study/run.ts [words]`. */
import { spawnSync } from 'node:child_process';
import { mkdirSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { build } from 'esbuild';

const [entry, ...words] = process.argv.slice(2);
const outfile = join('tests/bench/dist', `${entry.replaceAll(/[/\\]/g, '-').replace(/\.ts$/, '')}.mjs`);
mkdirSync(dirname(outfile), { recursive: true });
await build({
  entryPoints: [entry],
  bundle: true,
  platform: 'node',
  format: 'esm',
  target: 'node20',
  outfile,
  external: ['@libsql/*', 'esbuild'],
  banner: {
    js: "import { createRequire } from 'node:module'; const require = createRequire(import.meta.url);",
  },
  logLevel: 'error',
});
process.exitCode = spawnSync(process.execPath, [outfile, ...words], { stdio: 'inherit' }).status ?? 1;
