import { expect, test } from 'vitest';
import { answerReady } from './screens/outcomes-screen';
import { onEachShell } from './shells';
import type { Page } from 'playwright-core';

/** More than any screen has; a user who has pressed this often will not find what is looked for. */
const MOST_PRESSES = 60;

/** Presses Tab until something with that name has the focus. */
async function tabTo(page: Page, name: string): Promise<void> {
  for (let press = 0; press < MOST_PRESSES; press++) {
    await page.keyboard.press('Tab');
    const focused = page.locator(':focus');
    if ((await focused.count()) === 0) continue;
    const words = [await focused.innerText(), await focused.getAttribute('aria-label')];
    if (words.some((word) => word?.trim() === name)) return;
  }
  throw new Error(`"${name}" was not reached with the Tab key`);
}

onEachShell((start) => {
  test('without a pointer one gets from the start to an answer and back to a patient', async () => {
    const { page } = await start({ demo: false });
    await page.getByRole('heading', { level: 1, name: 'Does the gain stay?' }).waitFor();
    await tabTo(page, 'Open the demo');
    await page.keyboard.press('Enter');
    await page.getByRole('heading', { level: 1, name: 'Recall' }).waitFor();
    await tabTo(page, 'Outcomes');
    await page.keyboard.press('Enter');
    await answerReady(page);
    expect(await page.locator(':focus').innerText()).toBe('Outcomes');
    await tabTo(page, 'Save report');
  });

  test('the first press of Tab offers to skip to the content', async () => {
    const { page } = await start({ demo: true });
    await page.getByRole('heading', { level: 1, name: 'Recall' }).waitFor();
    await page.keyboard.press('Tab');
    expect(await page.locator(':focus').innerText()).toBe('Skip to the content');
    await page.keyboard.press('Enter');
    expect(await page.locator('main:focus').count()).toBe(1);
  });
});
