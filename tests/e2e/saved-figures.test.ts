import { readFileSync } from 'node:fs';
import { afterEach, describe, expect, test } from 'vitest';
import { openOutcomes } from './screens/outcomes-screen';
import { servedPage } from './shells/served-page';
import type { Running } from './shells/shell';

let running: Running | null = null;
afterEach(async () => {
  await running?.close();
  running = null;
});

const PNG_SIGNATURE = [0x89, 0x50, 0x4e, 0x47];

describe.skipIf(!servedPage.available)('a figure saved in a browser', () => {
  test('arrives as a drawing, as a picture and as data', async () => {
    running = await servedPage.start({ demo: true });
    const { page } = running;
    await openOutcomes(page);
    const group = page.getByRole('group', { name: 'Save this figure' }).first();
    const saved = async (button: string, name: string): Promise<Buffer> => {
      const [download] = await Promise.all([
        page.waitForEvent('download'),
        group.getByRole('button', { name: button }).click(),
      ]);
      expect(download.suggestedFilename()).toBe(name);
      return readFileSync(await download.path());
    };
    const drawing = (await saved('SVG', 'Co-Gn-retained-share.svg')).toString('utf8');
    expect(drawing).toMatch(/^<svg [^>]*role="img"/);
    expect(drawing).toContain('Invented patients.');
    const picture = await saved('PNG', 'Co-Gn-retained-share.png');
    expect([...picture.subarray(0, 4)]).toEqual(PNG_SIGNATURE);
    const data = (await saved('Data (CSV)', 'Co-Gn-retained-share.csv')).toString('utf8');
    expect(data.split('\r\n')[0]).toContain('retained_share');
  });
});
