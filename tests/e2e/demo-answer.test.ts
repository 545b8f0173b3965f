import { answerOutcome, missingSentence, retentionSentence, survivalSentence } from '@longhold/core/answers';
import { DEMO_DEFAULTS, generateDemo } from '@longhold/demo';
import { expect, test } from 'vitest';
import { openOutcomes } from './screens/outcomes-screen';
import { onEachShell } from './shells';

onEachShell((start) => {
  test('the demo opens, says that it is invented, and lists whom to recall', async () => {
    const { page } = await start({ demo: true });
    await page.getByRole('heading', { level: 1, name: 'Recall' }).waitFor();
    await page.getByText('no real patients').waitFor();
    await page.getByRole('table').waitFor();
    expect(await page.getByRole('table').getByRole('row').count()).toBeGreaterThan(20);
  });

  test('Outcomes says in words what core answers for the same records', async () => {
    const { page } = await start({ demo: true });
    await openOutcomes(page);
    const answer = answerOutcome(generateDemo(DEMO_DEFAULTS).study, {});
    for (const sentence of [retentionSentence(answer), survivalSentence(answer), missingSentence(answer)]) {
      await page.getByText(sentence).waitFor();
    }
  });
});
