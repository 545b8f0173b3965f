import { accessSync, constants, existsSync, readFileSync } from 'node:fs';
import { delimiter, join } from 'node:path';

export const ROOT = join(import.meta.dirname, '..', '..', '..');
export const DESKTOP = join(ROOT, 'apps', 'desktop');

/** Chromium's sandbox refuses to work for root; only the tests go without it. */
export const SANDBOX_WORDS = process.getuid?.() === 0 ? ['--no-sandbox'] : [];

/** The full path of a program on the search path; null when there is none of these names. */
export function findProgram(...names: readonly string[]): string | null {
  const folders = (process.env['PATH'] ?? '').split(delimiter);
  for (const name of names) {
    const found = folders.map((folder) => join(folder, name)).find(isExecutable);
    if (found !== undefined) return found;
  }
  return null;
}

/** A browser of the system's own. */
export const CHROMIUM = findProgram('chromium', 'chromium-browser', 'google-chrome', 'google-chrome-stable');

/** A virtual screen, for machines without a display. */
export const VIRTUAL_SCREEN = findProgram('Xvfb');

export const DISPLAY = process.env['DISPLAY'] ?? null;

/** An Electron binary that is there already; nothing is ever downloaded. */
export const ELECTRON = findElectron();

function findElectron(): string | null {
  const installed = join(ROOT, 'node_modules', 'electron');
  const record = join(installed, 'path.txt');
  const name = existsSync(record) ? readFileSync(record, 'utf8').trim() : 'electron';
  const binary = join(process.env['ELECTRON_OVERRIDE_DIST_PATH'] ?? join(installed, 'dist'), name);
  return isExecutable(binary) ? binary : null;
}

function isExecutable(path: string): boolean {
  try {
    accessSync(path, constants.X_OK);
    return true;
  } catch {
    return false;
  }
}
