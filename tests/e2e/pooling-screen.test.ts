import { pooledRecordSchema } from '@longhold/core/contribution';
import { PROTOCOL_HEADER, PROTOCOL_VERSION } from '@longhold/core/exchange';
import { afterAll, afterEach, expect, test } from 'vitest';
import { poolingFolder, servicePrograms, type Service } from '../pooling/programs';
import { recordingProxy, type RecordingProxy } from '../pooling/recording-proxy';
import { goToPart, linkStore, makeCode, publishDefinition, unlinkStore } from './screens/pooling-screen';
import { goTo } from './screens/shell-bar';
import { onEachShell } from './shells';

let service: Service | null = null;
let proxy: RecordingProxy | null = null;
let studies = 0;
const folder = poolingFolder(afterAll);

afterEach(async () => {
  await proxy?.close();
  await service?.stop();
  [service, proxy] = [null, null];
});

/** A service with nothing in it, and the coordinator's code. */
async function newStudy(): Promise<{
  readonly address: string;
  readonly code: string;
  readonly stop: () => Promise<void>;
}> {
  studies += 1;
  const programs = servicePrograms(folder, `study-${studies}.sqlite`);
  const started = await programs.start();
  service = started;
  return { address: started.address, code: programs.coordinatorCode(), stop: () => started.stop() };
}

/** Enrols a device of another clinic's program. */
async function enrolElsewhere(address: string, code: string): Promise<void> {
  const reply = await fetch(`${address}/rpc/enrol`, {
    method: 'POST',
    headers: { 'content-type': 'application/json', [PROTOCOL_HEADER]: String(PROTOCOL_VERSION) },
    body: JSON.stringify({ code }),
  });
  expect(reply.status).toBe(200);
}

onEachShell((start) => {
  test('a coordinator sets a study up, and a clinic sees every record before it confirms, sends, and withdraws', async () => {
    const study = await newStudy();
    const { page } = await start({ demo: true });
    await linkStore(page, study.address, study.code);
    await publishDefinition(page);
    const code = await makeCode(page, 'A new member: centre');
    await unlinkStore(page);

    await linkStore(page, study.address, code);
    await page.getByText(/Nothing of your clinic has left yet. If you confirm below/).waitFor();
    const button = page.getByRole('button', { name: /for the first time$/ });
    expect(await button.isDisabled()).toBe(true);

    const show = page.getByRole('button', { name: /^Show the record of/ }).first();
    const patient = ((await show.getAttribute('aria-label')) ?? '').replace('Show the record of ', '');
    await show.click();
    await page.getByText('Years of follow-up that have passed').waitFor();
    await page.getByText('As data, exactly as it is sent').click();
    const data = await page.locator('pre').innerText();
    expect(pooledRecordSchema.safeParse(JSON.parse(data)).success).toBe(true);
    expect(data).not.toContain(patient);
    expect(data).not.toMatch(/\d{4}-\d{2}-\d{2}/);

    await page.getByLabel(/I have seen what leaves/).check();
    await button.click();
    await page.getByText('There is nothing to send.', { exact: true }).waitFor();

    await goToPart(page, 'What has left');
    await page.getByRole('button', { name: 'Withdraw a patient…' }).click();
    await page.getByLabel('Patient code').fill(patient);
    await page.getByRole('button', { name: 'Withdraw for good' }).click();
    await page.getByRole('button', { name: `Save the receipt of ${patient}` }).waitFor();
    expect(await page.getByText(/1\sversion deleted/).count()).toBe(1);

    await goToPart(page, 'What leaves');
    await page.getByRole('heading', { name: 'Withdrawn for good: 1 patient' }).waitFor();
  });

  test('a clinic that sends statistics only sees all of them before it confirms, sends them, and takes them out', async () => {
    const study = await newStudy();
    const { page } = await start({ demo: true });
    await linkStore(page, study.address, study.code);
    await publishDefinition(page);
    const code = await makeCode(page, 'A new member: centre');
    await unlinkStore(page);

    await linkStore(page, study.address, code, 'statistics');
    await page.getByText(/The pool holds no statistics of your clinic/).waitFor();
    const button = page.getByRole('button', { name: 'Send the statistics' });
    expect(await button.isDisabled()).toBe(true);
    await page
      .getByRole('button', { name: /^Intervals of loss/ })
      .first()
      .click();
    await page.getByRole('columnheader', { name: 'Held until day' }).first().waitFor();
    expect(await page.getByText('No record of any patient does.').count()).toBe(1);
    await page.getByLabel(/I have seen what leaves/).check();
    await button.click();
    await page.getByText('There is nothing to send.', { exact: true }).waitFor();

    await goToPart(page, 'What has left');
    await page
      .getByText(/^Of your clinic in the pool: Statistics of/)
      .first()
      .waitFor();
    await goToPart(page, 'What leaves');
    await page.getByRole('button', { name: 'Take the statistics out of the pool…' }).click();
    await page.getByRole('button', { name: 'Take out', exact: true }).click();
    await page.getByText(/The pool holds no statistics of your clinic/).waitFor();
  });

  test('the coordinator takes a centre out for good, once that was confirmed, and is shown the receipt', async () => {
    const study = await newStudy();
    const { page } = await start({ demo: true });
    await linkStore(page, study.address, study.code);
    await publishDefinition(page);
    await enrolElsewhere(study.address, await makeCode(page, 'A new member: centre'));
    await goToPart(page, 'Pooled answer');
    await goToPart(page, 'Members and devices');
    await page.getByRole('button', { name: 'Take Centre 1 out of the study' }).click();
    const dialog = page.getByRole('dialog', { name: 'Take Centre 1 out of the study' });
    const confirm = dialog.getByRole('button', { name: 'Take out for good' });
    expect(await confirm.isDisabled()).toBe(true);
    await dialog.getByLabel('Centre 1 is to leave for good').check();
    await confirm.click();
    await dialog
      .getByText(/Centre 1 is out of the study. The service held no records or sums of it/)
      .waitFor();
    expect(await dialog.locator('strong.receipt').innerText()).toMatch(/^[0-9a-f-]{36}$/);
    await dialog.getByRole('button', { name: 'Done' }).click();
    await page.getByRole('cell', { name: 'Member taken out' }).waitFor();
    expect(await page.getByRole('button', { name: 'Take Centre 1 out of the study' }).count()).toBe(0);
  });

  test('a long sending can be stopped, and goes on where it was', async () => {
    const study = await newStudy();
    const { page } = await start({ demo: true });
    await linkStore(page, study.address, study.code);
    await publishDefinition(page);
    const code = await makeCode(page, 'A new member: centre');
    await unlinkStore(page);
    proxy = await recordingProxy(study.address);
    await linkStore(page, proxy.address, code);
    await page.getByLabel(/I have seen what leaves/).check();
    proxy.setDelay(3_000);
    await page.getByRole('button', { name: /for the first time$/ }).click();
    await page.getByRole('button', { name: 'Stop' }).first().click();
    await page
      .getByText(/^Stopped\. What was acknowledged is in the pool/)
      .first()
      .waitFor();
    await page.getByText(/^Confirmed and not acknowledged yet: .*\srecords/).waitFor();
    expect(proxy.requests('sheet')).toBe(0);
    proxy.setDelay(0);
    await page.getByRole('button', { name: 'Ask the service now' }).click();
    await page
      .getByText(/^The service answered\. .*stored by the service\. Nothing waits any more\.$/)
      .first()
      .waitFor();
    await page.getByText('There is nothing to send.', { exact: true }).waitFor();
    expect(proxy.requests('sheet')).toBe(1);
  });

  test('a service that cannot be reached is said in words, and nothing is lost', async () => {
    const study = await newStudy();
    const { page } = await start({ demo: true });
    await linkStore(page, study.address, study.code);
    await page.getByRole('heading', { name: /no pooled answer yet/ }).waitFor();
    await study.stop();
    await page.getByRole('button', { name: 'Ask the service now' }).click();
    await page.getByText('The last exchange with the service did not end well').waitFor();
    await goTo(page, 'Recall');
    await goTo(page, 'Pooling');
    await page.getByText('The last exchange with the service did not end well').waitFor();
  });
});
