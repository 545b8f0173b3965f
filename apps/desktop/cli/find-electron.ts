import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';

/** The surroundings in which Electron is looked for. */
export interface Surroundings {
  readonly platform: NodeJS.Platform;
  readonly env: Readonly<Record<string, string | undefined>>;
  /** The user's number; null where the system has none. */
  readonly userId: number | null;
  /** Folder of the installed package. */
  readonly electron: string;
}

/** The surroundings of this process. */
export function ownSurroundings(electron: string): Surroundings {
  return { platform: process.platform, env: process.env, userId: process.getuid?.() ?? null, electron };
}

const USUAL_NAMES: Partial<Record<NodeJS.Platform, string>> = {
  darwin: 'Electron.app/Contents/MacOS/Electron',
  win32: 'electron.exe',
};

/**
 * The full path of an Electron binary that is there already; null where there is none. Electron's own index.js is not
 * asked: it downloads what is missing.
 */
export function findElectron({ platform, env, electron }: Surroundings): string | null {
  const record = join(electron, 'path.txt');
  const recorded = existsSync(record) ? readFileSync(record, 'utf8').trim() : null;
  const name = recorded ?? USUAL_NAMES[platform] ?? 'electron';
  const binary = join(env['ELECTRON_OVERRIDE_DIST_PATH'] || join(electron, 'dist'), name);
  return existsSync(binary) ? binary : null;
}

/** Whether there is a screen to show windows on. */
export function hasDisplay({ platform, env }: Surroundings): boolean {
  return platform !== 'linux' || Boolean(env['DISPLAY']) || Boolean(env['WAYLAND_DISPLAY']);
}

/** Chromium's sandbox refuses to work for root on Linux. */
export function isRootOnLinux({ platform, userId }: Surroundings): boolean {
  return platform === 'linux' && userId === 0;
}
