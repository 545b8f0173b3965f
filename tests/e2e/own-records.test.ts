import { demoFiles } from '@longhold/demo';
import { expect, test } from 'vitest';
import { applyImport, chooseFiles } from './screens/import-panel';
import { answerReady, openOutcomes } from './screens/outcomes-screen';
import { goTo } from './screens/shell-bar';
import { createStore, tryOpenStore } from './screens/start-screen';
import { onEachShell } from './shells';

const PASSPHRASE = 'one long invented passphrase';
const files = demoFiles({ seed: 3, patients: 40 });
const GOOD = {
  patients: files['patients.csv'],
  measurements: files['measurements.csv'],
  events: files['events.csv'],
};

/** The good files with two slips: a sex that is no word of the list, and a value without its decimal point. */
const FAULTY = {
  ...GOOD,
  patients: GOOD.patients.replace(',female,', ',girl,'),
  measurements: GOOD.measurements.replace(/(Co-Gn,\d+)\.(\d)/, '$1$2'),
};

onEachShell((start) => {
  test('a clinic makes its store, mends its files after being told every fault, and gets its answer', async () => {
    const { page, home } = await start({ demo: false });
    await createStore(page, PASSPHRASE);
    expect(await page.getByText(home).first().innerText()).toContain('.longhold');

    await chooseFiles(page, FAULTY);
    const faults = page.getByRole('table', { name: 'What is wrong in the files' });
    await faults.getByRole('cell', { name: 'girl', exact: true }).waitFor();
    expect(await faults.getByRole('row').count()).toBe(3);
    expect(await page.getByRole('button', { name: 'Apply' }).count()).toBe(0);

    await chooseFiles(page, GOOD);
    await page.getByText('The files are in order.').waitFor();
    await applyImport(page);
    await openOutcomes(page);
    await page.getByText(/mean gain of .* in Co-Gn beyond expected growth/).waitFor();
  });

  test('a closed store opens again with its passphrase and with no other', async () => {
    const { page } = await start({ demo: false });
    await createStore(page, PASSPHRASE);
    await chooseFiles(page, GOOD);
    await applyImport(page);
    await page.getByRole('button', { name: 'Close the store' }).click();

    await tryOpenStore(page, 'another invented passphrase');
    await page.getByText('does not open').waitFor();
    await tryOpenStore(page, PASSPHRASE);
    await goTo(page, 'Patients');
    await answerReady(page);
    await page
      .getByRole('table', { name: /^Treated patients/ })
      .getByRole('rowheader')
      .first()
      .waitFor();
  });

  test('importing the same files again finds nothing to change', async () => {
    const { page } = await start({ demo: false });
    await createStore(page, PASSPHRASE);
    await chooseFiles(page, GOOD);
    await applyImport(page);
    await page.getByRole('button', { name: 'Import something else' }).click();
    await chooseFiles(page, GOOD);
    await page.getByText('everything in them is in the store already').waitFor();
  });
});
