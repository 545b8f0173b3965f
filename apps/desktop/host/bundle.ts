import { readFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { z } from 'zod';

/** Where the parts of the built program lie, seen from any of its bundles. */
export interface Bundle {
  readonly version: string;
  readonly migrationsFolder: string;
  readonly workerFile: string;
  readonly pageFolder: string;
  /** Electron's program that prints a page to PDF. */
  readonly printFile: string;
  /** Folder of the installed Electron package, whether or not a binary is in it. */
  readonly electronFolder: string;
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
    printFile: join(dist, 'electron', 'print-page.cjs'),
    electronFolder: join(dist, '..', '..', '..', 'node_modules', 'electron'),
  };
}
