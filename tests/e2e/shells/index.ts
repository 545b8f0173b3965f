import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, describe } from 'vitest';
import { desktopWindow } from './desktop-window';
import { servedPage } from './served-page';
import type { Running } from './shell';

export type { Running } from './shell';

const SCREENSHOTS = join(import.meta.dirname, '..', 'screenshots');

/** Starts the program for one test; it ends with the test. */
export type StartProgram = (options: { readonly demo: boolean }) => Promise<Running>;

/**
 * Runs the same tests on the page in a browser and in the desktop's own window. Where one of them can't run, its
 * tests count as skipped. A test that fails leaves a picture of what it saw.
 */
export function onEachShell(tests: (start: StartProgram) => void): void {
  for (const shell of [servedPage, desktopWindow]) {
    describe.skipIf(!shell.available)(shell.name, () => {
      let running: Running | null = null;
      afterEach(async ({ task }) => {
        if (running === null) return;
        if (task.result?.state === 'fail') await picture(running, `${shell.name} ${task.name}`);
        await running.close();
        running = null;
      });
      tests(async (options) => {
        running = await shell.start(options);
        return running;
      });
    });
  }
}

async function picture({ page }: Running, name: string): Promise<void> {
  mkdirSync(SCREENSHOTS, { recursive: true });
  const file = `${name.replaceAll(/\W+/g, '-')}.png`;
  await page.screenshot({ path: join(SCREENSHOTS, file), fullPage: true }).catch(() => undefined);
}
