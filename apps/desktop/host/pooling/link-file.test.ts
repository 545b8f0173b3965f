import { describe, expect, it } from 'vitest';
import { openLink, sealLink } from './link-file';

const LINK = {
  address: 'https://pool.example.org',
  study: '0d3c86c7-4b56-4f0e-9a43-19a5a7a4a001',
  member: '0d3c86c7-4b56-4f0e-9a43-19a5a7a4a002',
  code: 'AAAAAA-BBBBBB-CCCCCC-DDDDDD',
  secret: 'ab'.repeat(32),
  sends: 'statistics' as const,
  withdrawn: ['cd'.repeat(16)],
};
const PASSPHRASE = 'an invented passphrase';

describe('A link file', () => {
  it('opens with its passphrase to what was sealed, and shows nothing of it to others', async () => {
    const text = await sealLink(LINK, PASSPHRASE);
    expect(await openLink(text, PASSPHRASE)).toEqual(LINK);
    const words = [...Object.values(LINK).flat(), 'pool.example'];
    for (const word of words) expect(text).not.toContain(word);
  });

  it('from before clinics could send statistics is of a clinic that sends records', async () => {
    const { sends: _sends, withdrawn: _withdrawn, ...earlier } = LINK;
    const opened = await openLink(await sealLink(earlier, PASSPHRASE), PASSPHRASE);
    expect(opened).toEqual({ ...earlier, sends: 'records', withdrawn: [] });
  });

  it('refuses a wrong passphrase and any change, and says so without a word of its content', async () => {
    const text = await sealLink(LINK, PASSPHRASE);
    await expect(openLink(text, 'another passphrase')).rejects.toMatchObject({ reason: 'wrong-passphrase' });
    const parts: Record<string, string> = JSON.parse(text);
    const flipped = Buffer.from(parts['sealed'] ?? '', 'base64');
    flipped[5] = (flipped[5] ?? 0) ^ 1;
    const altered = JSON.stringify({ ...parts, sealed: flipped.toString('base64') });
    await expect(openLink(altered, PASSPHRASE)).rejects.toMatchObject({ reason: 'wrong-passphrase' });
  });

  it('is refused where it is cut, of another kind, or asks for more memory than this computer should give', async () => {
    const text = await sealLink(LINK, PASSPHRASE);
    const costly = text.replace(/"cost": \d+/, `"cost": ${2 ** 30}`);
    expect(costly).not.toBe(text);
    for (const broken of [text.slice(0, -30), '{}', 'no file', costly]) {
      await expect(openLink(broken, PASSPHRASE)).rejects.toMatchObject({ reason: 'link-file-damaged' });
    }
  });

  it('is not made with a passphrase that is easy to guess', async () => {
    await expect(sealLink(LINK, 'short')).rejects.toMatchObject({ code: 'weak-passphrase' });
  });
});
