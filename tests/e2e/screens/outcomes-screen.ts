import type { Page } from 'playwright-core';
import { goTo } from './shell-bar';

/** Opens Outcomes and waits until the question is answered. */
export async function openOutcomes(page: Page): Promise<void> {
  await goTo(page, 'Outcomes');
  await answerReady(page);
}

/** Turns to one of the three questions of Outcomes. */
export async function turnTo(page: Page, question: string): Promise<void> {
  await page
    .getByRole('navigation', { name: 'The three questions' })
    .getByRole('link', { name: question })
    .click();
}

export async function answerReady(page: Page): Promise<void> {
  await page.getByRole('status').filter({ hasText: 'The answer is ready.' }).waitFor({ state: 'attached' });
}
