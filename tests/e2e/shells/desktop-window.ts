import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { _electron, type ElectronApplication } from 'playwright-core';
import { DESKTOP, DISPLAY, ELECTRON, SANDBOX_WORDS, VIRTUAL_SCREEN } from './on-this-machine';
import { homeEnvironment, makeHome } from './own-home';
import type { Running, Shell } from './shell';
import { openScreen } from './virtual-screen';

/** The real desktop in a real window. */
export const desktopWindow: Shell = {
  name: 'in its own window',
  available: ELECTRON !== null && (DISPLAY !== null || VIRTUAL_SCREEN !== null),
  start: ({ demo }) => startDesktop(demo ? ['--demo'] : []),
};

/** The desktop as a test of its process needs it. */
export interface RunningDesktop extends Running {
  readonly desktop: ElectronApplication;
  /** The folder for temporary files that only this desktop uses. */
  readonly temporary: string;
}

export async function startDesktop(words: readonly string[]): Promise<RunningDesktop> {
  if (ELECTRON === null) throw new Error('there is no Electron binary');
  const { home, remove } = makeHome();
  const temporary = join(home, 'tmp');
  mkdirSync(temporary);
  const screen = await openScreen();
  const desktop = await _electron.launch({
    executablePath: ELECTRON,
    args: [...SANDBOX_WORDS, `--user-data-dir=${join(home, 'window')}`, DESKTOP, ...words],
    env: { ...definedOnly(homeEnvironment(home, screen.display)), TMPDIR: temporary },
  });
  const page = await desktop.firstWindow();
  return {
    page,
    home,
    desktop,
    temporary,
    close: async () => {
      await desktop.close();
      await screen.close();
      remove();
    },
  };
}

function definedOnly(env: NodeJS.ProcessEnv): Record<string, string> {
  return Object.fromEntries(
    Object.entries(env).flatMap(([name, value]) => (value === undefined ? [] : [[name, value]])),
  );
}
