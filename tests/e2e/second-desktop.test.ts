import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test, vi } from 'vitest';
import { z } from 'zod';
import { otherValues, withoutConsents, type FileChange } from '../pooling/changed-files';
import {
  coordinate,
  DEFINITION,
  desktop,
  inventedFiles,
  longhold,
  poolingFolder,
  servicePrograms,
  type Desktop,
  type Service,
} from '../pooling/programs';
import { applyImport, chooseFiles, type ImportTexts } from './screens/import-panel';
import { goToPart } from './screens/pooling-screen';
import { goTo } from './screens/shell-bar';
import { createStore } from './screens/start-screen';
import { onEachShell } from './shells';

const devicesSchema = z.looseObject({ devices: z.array(z.looseObject({ device: z.string() })) });
// Many steps by person and program; a busy computer takes its time over each.
vi.setConfig({ testTimeout: 400_000, hookTimeout: 400_000 });

const LINK_PASSPHRASE = 'another invented passphrase';
const folder = poolingFolder(afterAll);
const programs = servicePrograms(folder);
let service: Service;
let coordinator: Desktop;
let invite: (role: string) => Promise<string>;
let clinics = 0;

beforeAll(async () => {
  service = await programs.start();
  ({ coordinator, invite } = await coordinate(folder, service, programs.coordinatorCode(), DEFINITION));
});
afterAll(() => service.stop());

/** A clinic whose first desktop has sent everything. */
async function sendingClinic(): Promise<{ readonly first: Desktop; readonly files: string }> {
  clinics += 1;
  const files = await inventedFiles(folder, `files ${clinics}`, clinics, 20);
  const first = desktop(folder, `first desktop ${clinics}`);
  await first.bringIn(files);
  await first.link(service.address, await invite('centre'));
  await first.send();
  return { first, files };
}

function textsOf(files: string, change: FileChange = (text) => text): ImportTexts {
  const text = (name: string): string => change(readFileSync(join(files, name), 'utf8'), name);
  return {
    patients: text('patients.csv'),
    measurements: text('measurements.csv'),
    events: text('events.csv'),
  };
}

async function bringIn(page: Page, texts: ImportTexts): Promise<void> {
  await chooseFiles(page, texts);
  await page.getByText('The files are in order.').waitFor();
  await applyImport(page);
}

async function askService(page: Page): Promise<void> {
  await page.getByRole('button', { name: 'Ask the service now' }).click();
}

onEachShell((start) => {
  test('a clinic’s second desktop is linked by file, is shown what the first sent otherwise and chooses, withdraws many only when asked, and is told when its access was revoked', async () => {
    const { first, files } = await sendingClinic();
    const linkFile = join(folder, `clinic ${clinics}.longhold-link`);
    const made = await longhold(['pool', 'link-file', linkFile, '--store', first.store], {
      LONGHOLD_LINK_PASSPHRASE: LINK_PASSPHRASE,
    });
    expect(made.code, made.err).toBe(0);

    const { page } = await start({ demo: false });
    await createStore(page, 'one long invented passphrase');
    await bringIn(page, textsOf(files));
    await goTo(page, 'Pooling');
    await page.getByLabel('Link file', { exact: true }).setInputFiles(linkFile);
    await page.getByLabel('Passphrase of the link file').fill('not the right one');
    await page.getByRole('button', { name: 'Link with this file' }).click();
    await page
      .locator('[role=alert]')
      .filter({ hasText: /passphrase/i })
      .first()
      .waitFor();
    await page.getByLabel('Passphrase of the link file').fill(LINK_PASSPHRASE);
    await page.getByRole('button', { name: 'Link with this file' }).click();
    await page.getByRole('navigation', { name: 'Parts of Pooling' }).waitFor();
    // Both give one patient one pseudonym, so all of it is in the pool already.
    await page.getByText(/^No record leaves with your clinic/).waitFor();

    const [{ code } = { code: '' }] = await first.records();
    await first.bringIn(files, otherValues(code, 1));
    await first.send();
    await askService(page);
    await page.getByRole('heading', { name: 'Two versions: 1 patient' }).waitFor();
    const versions = page.getByRole('table', { name: `Two versions of ${code}` });
    await versions.getByRole('columnheader', { name: 'In this store' }).waitFor();
    await versions.getByRole('columnheader', { name: 'In the pool, from another desktop' }).waitFor();
    await page.getByRole('button', { name: `Send this store’s version of ${code}` }).click();
    await page.getByRole('heading', { name: 'Two versions: 1 patient' }).waitFor({ state: 'detached' });
    await page.getByLabel(/I have seen what leaves/).check();
    await page.getByRole('button', { name: 'Send 1 record for the first time' }).click();
    await page.getByText('There is nothing to send.', { exact: true }).waitFor();
    await first.pool('check');
    expect((await first.pool('preview'))['counts']).toMatchObject({ conflict: 1 });

    const gone = (await first.records()).slice(0, 3).map((row) => row.code);
    await goTo(page, 'Settings');
    await bringIn(page, textsOf(files, withoutConsents(gone)));
    await goTo(page, 'Pooling');
    await page.getByRole('heading', { name: 'Consent gone at once: 3 patients' }).waitFor();
    const withdraw = page.getByRole('button', { name: 'Withdraw 3 patients for good' });
    expect(await withdraw.isDisabled()).toBe(true);
    await page.getByLabel('All of them have taken their consent back.').check();
    await withdraw.click();
    await page.getByRole('heading', { name: 'Withdrawn for good: 3 patients' }).waitFor();
    await goToPart(page, 'What has left');
    for (const one of gone) await page.getByRole('button', { name: `Save the receipt of ${one}` }).waitFor();

    await goToPart(page, 'Members and devices');
    const own = page.getByRole('row').filter({ hasText: '(this one)' });
    const device = /([0-9a-f]{8}) \(this one\)/.exec(await own.innerText())?.[1] ?? '';
    await coordinator.pool('revoke', await fullId(first, device));
    await askService(page);
    await page.getByText('The last exchange with the service did not end well').waitFor();
    await page
      .getByText(/Ask for a new enrolment code and link anew; nothing here is lost/)
      .first()
      .waitFor();
  });
});

/** The whole id of a device of which the screen shows the first signs; the service tells it to the clinic only. */
async function fullId(of: Desktop, signs: string): Promise<string> {
  const { devices } = devicesSchema.parse(await of.pool('devices'));
  const found = devices.find(({ device }) => device.startsWith(signs));
  if (found === undefined) throw new Error(`there is no device ${signs}`);
  return found.device;
}
