import { expect } from 'vitest';
import type { Page } from 'playwright-core';
import { goTo } from './shell-bar';

/** Links the open store with an enrolment code, waits until the service has answered, and chooses what a clinic sends. */
export async function linkStore(
  page: Page,
  address: string,
  code: string,
  sends: 'records' | 'statistics' = 'records',
): Promise<void> {
  await goTo(page, 'Pooling');
  await page.getByLabel('Address of the service').fill(address);
  await page.getByRole('textbox', { name: 'Enrolment code' }).fill(code);
  await page.getByRole('button', { name: 'Link this store' }).click();
  const parts = page.getByRole('navigation', { name: 'Parts of Pooling' });
  await parts.waitFor();
  // Only who contributes has something to choose.
  if ((await parts.getByRole('link', { name: 'What leaves' }).count()) === 0) return;
  const chosen = sends === 'records' ? 'Send records' : 'Send statistics only';
  await page.getByRole('button', { name: chosen, exact: true }).click();
  await page.getByRole('heading', { name: /^What your clinic sends:/ }).waitFor();
}

/** Goes to a part of Pooling. */
export async function goToPart(page: Page, part: string): Promise<void> {
  await page.getByRole('navigation', { name: 'Parts of Pooling' }).getByRole('link', { name: part }).click();
}

/** Publishes the first study definition as the form offers it, with one measure more. */
export async function publishDefinition(page: Page): Promise<void> {
  await goToPart(page, 'Study definition');
  await page.getByLabel('Overjet').check();
  await page.getByRole('button', { name: 'Publish as version 1' }).click();
  await page.getByRole('heading', { name: 'Study definition, version 1' }).waitFor();
}

/** Makes an enrolment code for what the list offers under that name. */
export async function makeCode(page: Page, forWhom: string): Promise<string> {
  await goToPart(page, 'Members and devices');
  await page.getByLabel('For', { exact: true }).selectOption({ label: forWhom });
  await page.getByRole('button', { name: 'Make a code' }).click();
  const code = await page.locator('strong.code').innerText();
  expect(code).toMatch(/^[2-9A-HJ-NP-Z]{6}(-[2-9A-HJ-NP-Z]{6}){3}$/);
  return code;
}

/** Ends this store's access. */
export async function unlinkStore(page: Page): Promise<void> {
  await goToPart(page, 'Members and devices');
  await page.getByRole('button', { name: 'Unlink this store…' }).click();
  await page.getByRole('button', { name: 'Unlink', exact: true }).click();
  await page.getByRole('heading', { name: 'What never leaves' }).waitFor();
}
