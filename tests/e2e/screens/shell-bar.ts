import type { Page } from 'playwright-core';

export type ScreenName = 'Recall' | 'Patients' | 'Outcomes' | 'Pooling' | 'Methods' | 'Settings';

/** Goes to a screen by the bar on top, and waits for its heading. */
export async function goTo(page: Page, screen: ScreenName): Promise<void> {
  await page.getByRole('navigation', { name: 'Screens' }).getByRole('link', { name: screen }).click();
  await page.getByRole('heading', { level: 1, name: screen }).waitFor();
}
