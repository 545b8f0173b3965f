import { join } from 'node:path';
import { _electron } from 'playwright-core';
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

async function startDesktop(words: readonly string[]): Promise<Running> {
  if (ELECTRON === null) throw new Error('there is no Electron binary');
  const { home, remove } = makeHome();
  const screen = await openScreen();
  const desktop = await _electron.launch({
    executablePath: ELECTRON,
    args: [...SANDBOX_WORDS, `--user-data-dir=${join(home, 'window')}`, DESKTOP, ...words],
    env: definedOnly(homeEnvironment(home, screen.display)),
  });
  const page = await desktop.firstWindow();
  return {
    page,
    home,
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
