import { readdirSync } from 'node:fs';
import { afterEach, describe, expect, test } from 'vitest';
import { desktopWindow, startDesktop, type RunningDesktop } from './shells/desktop-window';

/** Longer than ending may take, so that a desktop that hangs fails the test instead of holding it up. */
const END_MILLISECONDS = 10_000;

let running: RunningDesktop | null = null;

afterEach(async () => {
  await running?.close();
  running = null;
});

async function startDemo(): Promise<RunningDesktop> {
  running = await startDesktop(['--demo']);
  await running.page.getByRole('heading', { level: 1, name: 'Recall' }).waitFor();
  return running;
}

/** Does something that should end the desktop, and tells how it ended and how long that took. */
async function endingOf({ desktop }: RunningDesktop, end: (pid: number) => void) {
  const process = desktop.process();
  const ended = new Promise<number | string | null>((resolve) => {
    process.once('exit', (code, signal) => resolve(signal ?? code));
    setTimeout(() => resolve('still running'), END_MILLISECONDS).unref();
  });
  const asked = performance.now();
  end(process.pid ?? 0);
  return { how: await ended, milliseconds: performance.now() - asked };
}

const demoFolders = ({ temporary }: RunningDesktop): string[] =>
  readdirSync(temporary).filter((name) => name.startsWith('longhold-demo-'));

describe.skipIf(!desktopWindow.available)('the desktop', () => {
  test('ends when its window is closed, and takes the demo with it', async () => {
    const started = await startDemo();
    expect(demoFolders(started)).toHaveLength(1);
    const { how } = await endingOf(started, () => void started.page.close());
    expect(how).toBe(0);
    expect(demoFolders(started)).toEqual([]);
  });

  test('ends in order at Ctrl-C, which a terminal sends to all its processes', async () => {
    const started = await startDemo();
    const { how, milliseconds } = await endingOf(started, (pid) => process.kill(-pid, 'SIGINT'));
    expect(how).toBe(0);
    expect(milliseconds).toBeLessThan(1500);
    expect(demoFolders(started)).toEqual([]);
  });

  test('ends in order when only its first process is told to', async () => {
    const started = await startDemo();
    const { how } = await endingOf(started, (pid) => process.kill(pid, 'SIGTERM'));
    expect(how).toBe(0);
    expect(demoFolders(started)).toEqual([]);
  });
});
