import { expect, test } from 'vitest';
import { answerReady, openOutcomes } from './screens/outcomes-screen';
import { goTo } from './screens/shell-bar';
import { onEachShell } from './shells';

onEachShell((start) => {
  test('one patient is found by code and shown with course, visits and a verdict with its reason', async () => {
    const { page } = await start({ demo: true });
    await goTo(page, 'Patients');
    await answerReady(page);
    const code = await page.getByRole('table').getByRole('rowheader').first().innerText();
    await page.getByLabel('Find a code or protocol').fill(code);
    await page.getByRole('link', { name: code, exact: true }).click();
    await page.getByRole('heading', { level: 1, name: `Patient ${code}` }).waitFor();
    await page.getByRole('heading', { name: 'Visits' }).waitFor();
    await page.getByText(/Active treatment ended with a gain|No gain of Co-Gn/).waitFor();
  });

  test('an event recorded in Recall takes the patient off the list and changes who is missing', async () => {
    const { page } = await start({ demo: true });
    const due = page.getByRole('row').filter({ hasText: 'Overdue' }).first();
    const code = await due.getByRole('rowheader').innerText();
    await due.getByRole('button').click();
    const dialog = page.getByRole('dialog');
    await dialog.getByLabel('What happened').selectOption({ label: 'Moved away' });
    await dialog.getByRole('button', { name: 'Save' }).click();
    await dialog.waitFor({ state: 'hidden' });
    const row = page.getByRole('row').filter({ hasText: code });
    await row.filter({ hasText: 'moved away' }).waitFor();
  });

  test('another question gets another answer, and the address keeps it', async () => {
    const { page } = await start({ demo: true });
    await openOutcomes(page);
    await page
      .getByLabel('Measure', { exact: true })
      .selectOption({ label: 'SNB, position of the lower jaw' });
    await page.getByText(/mean gain of .* in SNB/).waitFor();
    expect(new URL(page.url()).hash).toContain('measure=SNB');
  });
});
