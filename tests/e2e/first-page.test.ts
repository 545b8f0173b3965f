import { chromium, type Browser } from 'playwright-core';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { CHROMIUM, SANDBOX_WORDS } from './shells/on-this-machine';
import { homeEnvironment, makeHome } from './shells/own-home';
import { startNode, type StartedProgram } from './shells/started-program';

/** What a browser shows that comes to the served page with a key, without one, or with one that was used. */
describe.skipIf(CHROMIUM === null)('a browser that comes to the served page', () => {
  let program: StartedProgram;
  let browser: Browser;
  let address: string;
  let remove: () => void;

  beforeEach(async () => {
    const own = makeHome();
    remove = own.remove;
    program = startNode(['scripts/start.mjs'], homeEnvironment(own.home, null));
    address = (await program.says(/http:\S+(?=\n)/))[0];
    browser = await chromium.launch({ executablePath: CHROMIUM ?? '', args: SANDBOX_WORDS });
  });
  afterEach(async () => {
    await browser.close();
    await program.end('SIGINT');
    remove();
  });

  test('with the key gets in, and the key is gone from its address and its history', async () => {
    const page = await browser.newPage();
    await page.goto(address);
    await page.getByRole('heading', { level: 1, name: 'Recall' }).waitFor();
    expect(page.url()).not.toContain('key=');
    await page.reload();
    await page.getByRole('heading', { level: 1, name: 'Recall' }).waitFor();
    await page.goBack();
    expect(page.url()).not.toContain('key=');
  });

  test('without a key, or with a used one, is told where the key is and sees no records', async () => {
    const first = await browser.newPage();
    await first.goto(address);
    await first.getByRole('heading', { level: 1, name: 'Recall' }).waitFor();
    for (const later of [address, new URL(address).origin]) {
      const stranger = await browser.newContext();
      const page = await stranger.newPage();
      await page.goto(later);
      await page.getByText('Open the address that the terminal shows').waitFor();
      expect(await page.getByRole('table').count()).toBe(0);
      await stranger.close();
    }
  });

  test('finds a page that runs under its content policy without a complaint', async () => {
    const page = await browser.newPage();
    const complaints: string[] = [];
    page.on('console', (message) => {
      if (message.type() === 'error' || message.type() === 'warning') complaints.push(message.text());
    });
    page.on('pageerror', (error) => complaints.push(error.message));
    await page.goto(address);
    for (const screen of ['Recall', 'Patients', 'Outcomes', 'Pooling', 'Methods', 'Settings']) {
      await page.getByRole('link', { name: screen, exact: true }).click();
      await page.getByRole('heading', { level: 1, name: screen }).waitFor();
      await page.waitForLoadState('networkidle');
    }
    expect(complaints).toEqual([]);
  });
});
