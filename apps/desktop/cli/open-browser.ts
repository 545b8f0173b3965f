import { spawn } from 'node:child_process';

/** Shows an address in the user's browser where there is a screen and a browser; elsewhere does nothing. */
export function openBrowser(address: string, env: Readonly<Record<string, string | undefined>>): void {
  const [program, ...words] = openerOf(process.platform, env);
  if (program === undefined) return;
  const opener = spawn(program, [...words, address], { stdio: 'ignore', detached: true });
  // No browser is no fault: the address has been printed.
  opener.on('error', () => undefined);
  opener.unref();
}

function openerOf(
  platform: NodeJS.Platform,
  { DISPLAY: display, WAYLAND_DISPLAY: wayland }: Readonly<Record<string, string | undefined>>,
): string[] {
  if (platform === 'darwin') return ['open'];
  if (platform === 'win32') return ['cmd', '/c', 'start', ''];
  return display || wayland ? ['xdg-open'] : [];
}
