import {
  absenceSentence,
  answerOutcome,
  gaveWaySentence,
  groupsSentence,
  missingSentence,
  retentionSentence,
  separationSentence,
  survivalSentence,
} from '@longhold/core/answers';
import { DEMO_DEFAULTS, generateDemo } from '@longhold/demo';
import { expect, test } from 'vitest';
import { openOutcomes, turnTo } from './screens/outcomes-screen';
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
    const pages: [string, string[]][] = [
      ['How much is kept?', [retentionSentence(answer), gaveWaySentence(answer)]],
      [
        'For how long?',
        [survivalSentence(answer), groupsSentence(answer), absenceSentence(answer), missingSentence(answer)],
      ],
      ['Lasting, or only earlier?', [separationSentence(answer)]],
    ];
    for (const [name, sentences] of pages) {
      await turnTo(page, name);
      for (const sentence of sentences) await page.getByText(sentence).waitFor();
    }
  });

  test('the question is answered again with other choices, in the background', async () => {
    const { page } = await start({ demo: true });
    await openOutcomes(page);
    // Nobody has to ask for it: the comparison of growth references is part of the answer.
    await page.getByText('That something lasts is shown under').waitFor();
    await page.getByText('The answer hangs on the growth reference:').waitFor();
  });
});
