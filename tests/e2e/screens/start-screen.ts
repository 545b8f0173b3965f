import type { Page } from 'playwright-core';

/** Fills the form for a new store; the file stays the suggested one. */
export async function createStore(page: Page, passphrase: string): Promise<void> {
  const form = formWith(page, 'Create the store');
  await form.getByLabel('New passphrase').fill(passphrase);
  await form.getByLabel('The same passphrase again').fill(passphrase);
  await form.getByRole('button', { name: 'Create the store' }).click();
  await page.getByRole('heading', { level: 1, name: 'Settings' }).waitFor();
}

/** Fills the form for a store that exists and presses its button; what follows is the test's business. */
export async function tryOpenStore(page: Page, passphrase: string): Promise<void> {
  const form = formWith(page, 'Open the store');
  await form.getByLabel('Passphrase').fill(passphrase);
  await form.getByRole('button', { name: 'Open the store' }).click();
}

function formWith(page: Page, button: string) {
  return page.locator('form').filter({ has: page.getByRole('button', { name: button }) });
}
