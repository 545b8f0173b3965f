import { readFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { z } from 'zod';

/** Where the parts of the built program lie, seen from any of its bundles. */
export interface Bundle {
  readonly version: string;
  readonly migrationsFolder: string;
  readonly workerFile: string;
  readonly pageFolder: string;
}

/** Every bundle lies in a folder of its own below `dist`; `bundleFolder` is that folder (`__dirname`). */
export function readBundle(bundleFolder: string): Bundle {
  const dist = resolve(bundleFolder, '..');
  const manifest: unknown = JSON.parse(readFileSync(join(dist, '..', 'package.json'), 'utf8'));
  const { version } = z.object({ version: z.string() }).parse(manifest);
  return {
    version,
    migrationsFolder: join(dist, 'host', 'migrations'),
    workerFile: join(dist, 'host', 'worker.cjs'),
    pageFolder: join(dist, 'renderer'),
  };
}
