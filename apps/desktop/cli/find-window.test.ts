import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { findWindow } from './find-window';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'longhold-window-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

function put(...names: string[]): string {
  const file = join(folder, ...names);
  mkdirSync(dirname(file), { recursive: true });
  writeFileSync(file, '');
  return file;
}

const onLinux = (env: Record<string, string>, userId = 1000) =>
  findWindow({ platform: 'linux', env, userId, electron: join(folder, 'electron') });

describe('where a window can be opened', () => {
  it('a display and an installed binary are found, by the name that the package recorded', () => {
    const binary = put('electron', 'dist', 'special');
    writeFileSync(put('electron', 'path.txt'), 'special');
    expect(onLinux({ DISPLAY: ':0' })).toEqual({ binary });
    expect(onLinux({ WAYLAND_DISPLAY: 'wayland-0' })).toEqual({ binary });
  });

  it('a binary elsewhere, named by the environment, comes before the installed one', () => {
    put('electron', 'dist', 'electron');
    const binary = put('elsewhere', 'electron');
    expect(onLinux({ DISPLAY: ':0', ELECTRON_OVERRIDE_DIST_PATH: join(folder, 'elsewhere') })).toEqual({
      binary,
    });
  });

  it('other systems need no display, and keep the binary under their own names', () => {
    const mac = put('electron', 'dist', 'Electron.app', 'Contents', 'MacOS', 'Electron');
    const windows = put('electron', 'dist', 'electron.exe');
    const electron = join(folder, 'electron');
    expect(findWindow({ platform: 'darwin', env: {}, userId: 501, electron })).toEqual({ binary: mac });
    expect(findWindow({ platform: 'win32', env: {}, userId: null, electron })).toEqual({ binary: windows });
  });
});

describe('where none can be opened', () => {
  it('the reason is said: no display, root, or no binary', () => {
    put('electron', 'dist', 'electron');
    expect(onLinux({})).toEqual({ why: expect.stringContaining('no display') });
    expect(onLinux({ DISPLAY: ':0' }, 0)).toEqual({ why: expect.stringContaining('root') });
    rmSync(join(folder, 'electron'), { recursive: true });
    expect(onLinux({ DISPLAY: ':0' })).toEqual({ why: expect.stringContaining('no Electron binary') });
  });
});
