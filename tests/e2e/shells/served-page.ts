import { chromium } from 'playwright-core';
import { CHROMIUM, SANDBOX_WORDS } from './on-this-machine';
import { homeEnvironment, makeHome } from './own-home';
import type { Running, Shell } from './shell';
import { startNode } from './started-program';

/** The program as `npm start` serves it where no window can be opened, in the system's Chromium. */
export const servedPage: Shell = {
  name: 'in a browser',
  available: CHROMIUM !== null,
  async start({ demo }): Promise<Running> {
    if (CHROMIUM === null) throw new Error('there is no Chromium');
    const { home, remove } = makeHome();
    const words = ['scripts/start.mjs', ...(demo ? [] : ['--no-demo'])];
    const program = startNode(words, homeEnvironment(home, null));
    const [address] = await program.says(/http:\/\/127\.0\.0\.1:\d+\/#key=\S+(?=\n)/);
    const browser = await chromium.launch({ executablePath: CHROMIUM, args: SANDBOX_WORDS });
    const page = await browser.newPage({ viewport: { width: 1280, height: 800 } });
    await page.goto(address);
    return {
      page,
      home,
      close: async () => {
        await browser.close();
        await program.end('SIGINT');
        remove();
      },
    };
  },
};
