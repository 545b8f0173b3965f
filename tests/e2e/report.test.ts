import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, describe, expect, test } from 'vitest';
import type { Page } from 'playwright-core';
import { resultsSchema } from '../../apps/desktop/host/report';
import { openOutcomes } from './screens/outcomes-screen';
import { desktopWindow, startDesktop } from './shells/desktop-window';
import { servedPage } from './shells/served-page';
import type { Running } from './shells/shell';

const SAVE_MILLISECONDS = 30_000;

let running: Running | null = null;
afterEach(async () => {
  await running?.close();
  running = null;
});

async function saveReport(page: Page): Promise<void> {
  await openOutcomes(page);
  await page.getByRole('button', { name: 'Save report' }).click();
}

/** The report holds the sentence that the screen shows, and numbers in the documented form. */
async function expectReport(page: Page, html: string, json: string): Promise<void> {
  const { sentences, source } = resultsSchema.parse(JSON.parse(json));
  expect(source.invented).toBe(true);
  await page.getByText(sentences.retention).waitFor();
  expect(html).toContain('<svg');
  expect(html).not.toContain('<script');
}

describe.skipIf(!servedPage.available)('a report saved in a browser', () => {
  test('arrives as one page and as numbers', async () => {
    running = await servedPage.start({ demo: true });
    const { page } = running;
    const texts = new Map<string, string>();
    page.on('download', (download) => {
      void download
        .path()
        .then((path) => texts.set(download.suggestedFilename(), readFileSync(path, 'utf8')));
    });
    await saveReport(page);
    await expect.poll(() => [...texts.keys()].sort(), { timeout: SAVE_MILLISECONDS }).toHaveLength(2);
    await expectReport(page, texts.get('report.html') ?? '', texts.get('results.json') ?? '');
  });
});

describe.skipIf(!desktopWindow.available)('a report saved in the desktop', () => {
  test('goes where the user says, as one page and as numbers', async () => {
    const started = await startDesktop(['--demo']);
    running = started;
    // Stands in for the user, who would be asked by the system for a place.
    await started.desktop.evaluate(({ session }, folder) => {
      session.defaultSession.on('will-download', (_event, item) => {
        item.setSavePath(`${folder}/${item.getFilename()}`);
      });
    }, started.home);
    await saveReport(started.page);
    const [html, json] = ['report.html', 'results.json'].map((name) => join(started.home, name));
    for (const file of [html, json]) {
      await expect.poll(() => existsSync(file ?? ''), { timeout: SAVE_MILLISECONDS }).toBe(true);
    }
    await expect.poll(() => readFileSync(json ?? '', 'utf8').endsWith('}\n')).toBe(true);
    await expectReport(started.page, readFileSync(html ?? '', 'utf8'), readFileSync(json ?? '', 'utf8'));
  });

  test('is printed as PDF, with the pages numbered by the window itself', async () => {
    const started = await startDesktop(['--demo']);
    running = started;
    await started.desktop.evaluate(({ session }, folder) => {
      session.defaultSession.on('will-download', (_event, item) => {
        item.setSavePath(`${folder}/${item.getFilename()}`);
      });
    }, started.home);
    await openOutcomes(started.page);
    await started.page.getByRole('button', { name: 'Save as PDF' }).click();
    await started.page.getByText('Saved as report.pdf.').waitFor();
    const file = join(started.home, 'report.pdf');
    await expect.poll(() => existsSync(file), { timeout: SAVE_MILLISECONDS }).toBe(true);
    await expect.poll(() => readFileSync(file, 'latin1').trimEnd().endsWith('%%EOF')).toBe(true);
    const pdf = readFileSync(file, 'latin1');
    expect(pdf.startsWith('%PDF-')).toBe(true);
    expect(pdf.match(/\/Type\s*\/Page[^s]/g)?.length).toBeGreaterThan(5);
  });
});
