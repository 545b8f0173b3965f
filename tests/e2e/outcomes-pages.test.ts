import { afterEach, describe, expect, test } from 'vitest';
import type { Page } from 'playwright-core';
import { answerReady, openOutcomes, turnTo } from './screens/outcomes-screen';
import { servedPage } from './shells/served-page';
import type { Running } from './shells/shell';

let running: Running | null = null;
afterEach(async () => {
  await running?.close();
  running = null;
});

async function outcomes(): Promise<Page> {
  running = await servedPage.start({ demo: true });
  await openOutcomes(running.page);
  return running.page;
}

const hash = (page: Page): string => new URL(page.url()).hash;

describe.skipIf(!servedPage.available)('the three questions of Outcomes', () => {
  test('keep the question in the address from page to page, and back', async () => {
    const page = await outcomes();
    await page.getByLabel('Groups are').selectOption('sex');
    await answerReady(page);
    await turnTo(page, 'For how long?');
    await page.getByText('Share of patients whose gain is still there, by sex.').first().waitFor();
    expect(hash(page)).toMatch(/^#\/outcomes\/lasts\?.*groups=sex/);
    await page.goBack();
    expect(hash(page)).toMatch(/^#\/outcomes\/kept\?.*groups=sex/);
  });

  test('say on each page who is not in the answer, and how sure it is', async () => {
    const page = await outcomes();
    for (const [link, missing] of [
      ['How much is kept?', 'Who is not in it?'],
      ['For how long?', 'Who is missing?'],
      ['Lasting, or only earlier?', 'Who is not in it?'],
    ] as const) {
      await turnTo(page, link);
      await page.getByRole('heading', { level: 2, name: missing }).waitFor();
      await page.getByRole('heading', { level: 2, name: 'How sure is it?' }).waitFor();
    }
  });

  test('are saved as a view, renamed, opened again on their page, and removed', async () => {
    const page = await outcomes();
    await turnTo(page, 'Lasting, or only earlier?');
    await page.getByLabel('Sex').selectOption('female');
    await answerReady(page);
    await page.getByLabel('Save this view as').fill('Girls');
    await page.getByRole('button', { name: 'Save', exact: true }).click();
    await page.getByRole('button', { name: 'Rename the saved view Girls' }).click();
    await page.getByLabel('New name of Girls').fill('Girls, lasting');
    await page.getByRole('button', { name: 'Rename', exact: true }).click();
    await turnTo(page, 'How much is kept?');
    await page.getByLabel('Sex').selectOption('');
    await page.getByRole('link', { name: 'Girls, lasting' }).click();
    await page.getByRole('heading', { name: 'Lasting growth, or growth that only came earlier?' }).waitFor();
    await page.getByText('Patients: female only.').waitFor();
    await page.getByRole('button', { name: 'Remove the saved view Girls, lasting' }).click();
    await page.getByText('None yet.').waitFor();
  });

  test('are read from their figures with the arrow keys, and as tables', async () => {
    const page = await outcomes();
    const figure = page.getByRole('figure').first();
    await figure.getByRole('slider').press('ArrowRight');
    await figure
      .getByText(/^Year 1, .* of the gain kept, interval/)
      .first()
      .waitFor();
    await figure.getByRole('slider').press('End');
    await figure
      .getByText(/^Year 6, /)
      .first()
      .waitFor();
    await figure.getByRole('button', { name: 'Hide the table' }).click();
    expect(await figure.getByRole('table').count()).toBe(0);
    await figure.getByRole('button', { name: 'Show as a table' }).click();
    expect(await figure.getByRole('table').getByRole('row').count()).toBeGreaterThan(3);
  });
});
