import { basename, join } from 'node:path';
import { build } from 'esbuild';

/** Bundles the program of a thread, as the build does, and returns its file. */
export async function bundleThread(folder: string, source: string): Promise<string> {
  const outfile = join(folder, basename(source).replace(/\.ts$/, '.mjs'));
  await build({
    entryPoints: [source],
    outfile,
    bundle: true,
    platform: 'node',
    format: 'esm',
    // Packages in CommonJS among what is bundled ask for `require`.
    banner: {
      js: "import { createRequire } from 'node:module'; const require = createRequire(import.meta.url);",
    },
    logLevel: 'error',
  });
  return outfile;
}
