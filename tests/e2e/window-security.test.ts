import { expect, test } from 'vitest';
import { onEachShell } from './shells';

onEachShell((start) => {
  test('the page stays where it is, whatever address it is sent to', async () => {
    const { page } = await start({ demo: true });
    await page.getByRole('heading', { level: 1, name: 'Recall' }).waitFor();
    const origin = new URL(page.url()).origin;
    const outside = [
      'https://example.invalid/?longhold://app/',
      'http://localhost.example.invalid/',
      'file:///etc/hostname',
      'longhold://other/index.html',
      'longhold://app.example.invalid/',
    ];
    for (const address of outside) {
      await page.evaluate((target) => window.open(target, '_blank'), address);
      await page.evaluate((target) => {
        const link = document.createElement('a');
        link.href = target;
        link.target = '_blank';
        document.body.append(link);
        link.click();
        link.remove();
      }, address);
    }
    expect(new URL(page.url()).origin).toBe(origin);
  });

  test('the page reaches neither another host nor anything of the system', async () => {
    const { page } = await start({ demo: true });
    await page.getByRole('heading', { level: 1, name: 'Recall' }).waitFor();
    const reached = await page.evaluate(() =>
      fetch('https://example.invalid/').then(
        () => 'reached',
        () => 'refused',
      ),
    );
    expect(reached).toBe('refused');
    const globals = await page.evaluate(() =>
      ['require', 'process', 'module', 'Buffer', 'electron'].filter((name) => name in window),
    );
    expect(globals).toEqual([]);
  });
});
