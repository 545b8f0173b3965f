import { spawn } from 'node:child_process';
import { DISPLAY, VIRTUAL_SCREEN } from './on-this-machine';

/** A display for windows: the one there is, or a virtual one that is closed with the test. */
export interface Screen {
  readonly display: string;
  close(): Promise<void>;
}

export async function openScreen(): Promise<Screen> {
  if (DISPLAY !== null) return { display: DISPLAY, close: () => Promise.resolve() };
  if (VIRTUAL_SCREEN === null) throw new Error('there is no display and no Xvfb');
  // Xvfb itself looks for a free number and writes it to the third stream.
  const server = spawn(
    VIRTUAL_SCREEN,
    ['-displayfd', '3', '-screen', '0', '1400x1000x24', '-nolisten', 'tcp'],
    {
      stdio: ['ignore', 'ignore', 'ignore', 'pipe'],
    },
  );
  const ended = new Promise<void>((resolve) => server.once('exit', () => resolve()));
  const number = await new Promise<string>((resolve, reject) => {
    server.stdio[3]?.once('data', (chunk) => resolve(String(chunk).trim()));
    server.once('exit', () => reject(new Error('Xvfb did not start')));
  });
  return {
    display: `:${number}`,
    close: () => {
      server.kill('SIGTERM');
      return ended;
    },
  };
}
