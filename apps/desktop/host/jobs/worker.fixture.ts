import { join } from 'node:path';
import { build } from 'esbuild';

/** Bundles the thread that computes answers into a folder of a test, and gives the bundle's path. */
export async function bundleWorker(folder: string): Promise<string> {
  const workerFile = join(folder, 'worker.cjs');
  await build({
    entryPoints: [join(import.meta.dirname, 'worker.ts')],
    outfile: workerFile,
    bundle: true,
    platform: 'node',
    format: 'cjs',
    logLevel: 'error',
  });
  return workerFile;
}
