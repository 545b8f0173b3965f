import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

/** A folder that plays the user's home, so that no test touches the real one. */
export function makeHome(): { readonly home: string; readonly remove: () => void } {
  const home = mkdtempSync(join(tmpdir(), 'longhold-home-'));
  return { home, remove: () => rmSync(home, { recursive: true, force: true, maxRetries: 3 }) };
}

/** The environment of a program that must see no display and no settings of whoever runs the tests. */
export function homeEnvironment(home: string, display: string | null): NodeJS.ProcessEnv {
  const { DISPLAY: _display, WAYLAND_DISPLAY: _wayland, LONGHOLD_PASSPHRASE: _word, ...rest } = process.env;
  const own = { ...rest, HOME: home, USERPROFILE: home, XDG_CONFIG_HOME: join(home, '.config') };
  return display === null ? own : { ...own, DISPLAY: display };
}
