/** Bundles the pooling service into dist, with the migrations of both kinds of store. */
import { cp, rm } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { build } from 'esbuild';

const folder = dirname(fileURLToPath(import.meta.url));
const dist = join(folder, 'dist');

await rm(dist, { recursive: true, force: true });
await build({
  absWorkingDir: folder,
  entryPoints: {
    sync: 'src/command/main.ts',
    'pool-process': 'src/pool/pool-process.ts',
    'unpack-worker': 'src/batch/unpack-worker.ts',
  },
  outdir: dist,
  outExtension: { '.js': '.mjs' },
  bundle: true,
  platform: 'node',
  target: 'node20',
  format: 'esm',
  // libsql finds its native part by path, and pino its workers, so they stay packages of their own.
  external: ['@libsql/*', 'libsql', 'pg-native', 'pino'],
  // Packages in CommonJS among what is bundled ask for `require`.
  banner: {
    js: "import { createRequire } from 'node:module'; const require = createRequire(import.meta.url);",
  },
  logLevel: 'error',
  sourcemap: 'linked',
});
for (const kind of ['sqlite', 'postgres']) {
  await cp(join(folder, 'src', 'store', kind, 'migrations'), join(dist, 'migrations', kind), {
    recursive: true,
  });
}
