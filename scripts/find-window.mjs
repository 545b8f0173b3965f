/** Whether the program can open a window of its own here, and if not, why. Never downloads anything. */
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';

/**
 * `electron` is the folder of the installed package. Returns `{ binary }`, or `{ why }` in words.
 * Electron's own index.js is not asked: it downloads what is missing.
 */
export function findWindow({ platform, env, userId, electron }) {
  if (platform === 'linux' && !env.DISPLAY && !env.WAYLAND_DISPLAY) return { why: 'there is no display' };
  if (platform === 'linux' && userId === 0) {
    return { why: 'it is run as root, for whom the sandbox of a window cannot be used' };
  }
  const binary = findBinary(platform, env, electron);
  return binary === null ? { why: 'no Electron binary is installed' } : { binary };
}

const USUAL_NAMES = { darwin: 'Electron.app/Contents/MacOS/Electron', win32: 'electron.exe' };

function findBinary(platform, env, electron) {
  const record = join(electron, 'path.txt');
  const recorded = existsSync(record) ? readFileSync(record, 'utf8').trim() : null;
  const name = recorded ?? USUAL_NAMES[platform] ?? 'electron';
  const binary = join(env.ELECTRON_OVERRIDE_DIST_PATH || join(electron, 'dist'), name);
  return existsSync(binary) ? binary : null;
}
