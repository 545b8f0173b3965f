import type { Page } from 'playwright-core';

export interface ImportTexts {
  readonly patients: string;
  readonly measurements: string;
  readonly events: string;
}

/** Chooses the three files in their fields. They are checked at once; nothing is written yet. */
export async function chooseFiles(page: Page, texts: ImportTexts): Promise<void> {
  for (const part of ['patients', 'measurements', 'events'] as const) {
    await page.locator(`input[type=file][id$="-${part}"]`).setInputFiles({
      name: `${part}.csv`,
      mimeType: 'text/csv',
      buffer: Buffer.from(texts[part]),
    });
  }
}

/** Applies what was checked and waits until it is written. */
export async function applyImport(page: Page): Promise<void> {
  await page.getByRole('button', { name: 'Apply' }).click();
  await page.getByRole('heading', { name: 'Imported', exact: true }).waitFor();
}
