import type { OpenStudy } from '@longhold/desktop/host/open-study';
import { importOf, temporaryFolder } from '@longhold/desktop/host/store/store.fixture';
import { afterAll, afterEach, beforeEach, describe, expect, it } from 'vitest';
import { longer, withoutConsent } from '../faults/programs/pool-patients';
import { changeFirst, check, poolInProcess, sendShown, type PoolInProcess } from '../pooling/pool-in-process';

const folder = temporaryFolder(afterAll);
const NOW = new Date('2026-03-10T10:00:00Z');
let pool: PoolInProcess;
let clinic: OpenStudy;
let sent: number;

beforeEach(async () => {
  pool = await poolInProcess(folder);
  clinic = await pool.linkedClinic(14, () => NOW);
  expect(await sendShown(clinic)).toBe('done');
  sent = (await pool.held()).records.length;
  expect(sent).toBeGreaterThan(10);
});
afterEach(() => pool.close());

const waiting = async () => (await clinic.pooling.preview())?.withdrawalsToConfirm ?? null;

/** Brings everybody's consent back, as an import of the right file does. */
async function consentsAgain(): Promise<void> {
  const from = await clinic.store.readStudy();
  const to = from.map((history) => ({ ...history, patient: { ...history.patient, consentPooling: true } }));
  await clinic.store.applyImport(importOf(from, to));
}

describe('Where consent is gone', () => {
  it.each([1, 2])('of %i, withdrawal goes by itself with the next exchange', async (gone) => {
    await changeFirst(clinic, gone, withoutConsent);
    expect(await waiting()).toBeNull();
    expect(await check(clinic)).toBe('done');
    expect(await pool.held()).toMatchObject({ withdrawn: gone });
    const receipts = (await clinic.pooling.withdrawals()).map(({ receipt }) => receipt?.versionsRemoved);
    expect(receipts).toEqual(Array.from({ length: gone }, () => 1));
  });

  it('of three at once, nobody is withdrawn and no record leaves before a person has confirmed', async () => {
    const before = await pool.held();
    await changeFirst(clinic, 3, withoutConsent);
    await changeFirst(clinic, 5, longer);
    expect(await check(clinic)).toBe('done');
    const preview = await clinic.pooling.preview();
    expect(preview?.withdrawalsToConfirm?.patients).toHaveLength(3);
    expect(preview?.withdrawals).toEqual([]);
    await expect(clinic.pooling.startSend(preview?.digest ?? '')).rejects.toThrow(
      'The consent of 3 patients in the pool is gone at once',
    );
    expect(await pool.held()).toEqual(before);
    expect(await clinic.pooling.withdrawals()).toEqual([]);
  });

  it('by an import of the wrong file, the right file brings all back and nobody is withdrawn', async () => {
    const before = await pool.held();
    await changeFirst(clinic, 14, withoutConsent);
    expect(await check(clinic)).toBe('done');
    await consentsAgain();
    expect(await waiting()).toBeNull();
    expect(await check(clinic)).toBe('done');
    expect(await pool.held()).toEqual(before);
    expect((await clinic.pooling.preview())?.counts).toMatchObject({ new: 0, changed: 0, 'in-pool': sent });
  });

  it('of many, all are withdrawn once confirmed, each with a receipt, and none of others', async () => {
    await changeFirst(clinic, 6, withoutConsent);
    await clinic.pooling.confirmWithdrawals((await waiting())?.digest ?? '');
    expect((await clinic.pooling.finished()).state).toBe('done');
    const { records, withdrawn } = await pool.held();
    expect(withdrawn).toBe(6);
    expect(records).toHaveLength(sent - 6);
    const withdrawals = await clinic.pooling.withdrawals();
    expect(withdrawals.filter(({ receipt }) => receipt?.versionsRemoved === 1)).toHaveLength(6);
    expect(await waiting()).toBeNull();
    expect(await sendShown(clinic)).toBe('done');
  });

  it('of others than those who were shown, the confirmation is refused', async () => {
    await changeFirst(clinic, 3, withoutConsent);
    const shown = (await waiting())?.digest ?? '';
    await changeFirst(clinic, 1, withoutConsent);
    await expect(clinic.pooling.confirmWithdrawals(shown)).rejects.toThrow('has changed since it was shown');
    expect(await pool.held()).toMatchObject({ withdrawn: 0 });
  });

  it('what was confirmed before stays in the outbox until it is settled, and then goes without those who were withdrawn', async () => {
    await changeFirst(clinic, 14, longer);
    const preview = await clinic.pooling.preview();
    pool.pretendUnreachable(true);
    await clinic.pooling.startSend(preview?.digest ?? '');
    expect((await clinic.pooling.finished()).state).toBe('failed');
    const { outbox } = await clinic.pooling.state();
    expect(outbox.records).toBeGreaterThan(0);
    await changeFirst(clinic, 4, withoutConsent);
    expect((await clinic.pooling.state()).outbox).toEqual(outbox);
    expect((await waiting())?.patients).toHaveLength(4);
    pool.pretendUnreachable(false);
    expect(await check(clinic)).toBe('done');
    expect((await clinic.pooling.state()).outbox).toEqual(outbox);
    await clinic.pooling.confirmWithdrawals((await waiting())?.digest ?? '');
    expect((await clinic.pooling.finished()).state).toBe('done');
    expect((await clinic.pooling.state()).outbox.batches).toBe(0);
    const { records, withdrawn } = await pool.held();
    expect(withdrawn).toBe(4);
    expect(records).toHaveLength(sent - 4);
  });
});

describe('A link that is ended while a withdrawal waits', () => {
  it('and made anew tells the service of the withdrawal, and gives the others the same pseudonyms', async () => {
    const { records } = await pool.held();
    const { link } = await clinic.pooling.state();
    await changeFirst(clinic, 1, withoutConsent);
    const code = await furtherCode(link?.member ?? '');
    pool.pretendUnreachable(true);
    // The consent is gone and is known to be; the service cannot be told.
    expect(await check(clinic)).toBe('failed');
    expect((await clinic.pooling.withdrawals()).map(({ receipt }) => receipt)).toEqual([null]);
    await clinic.pooling.unlink();
    pool.pretendUnreachable(false);
    expect(await pool.held()).toEqual({ records, withdrawn: 0 });
    await clinic.pooling.link(pool.address, code);
    const after = await pool.held();
    expect(after).toMatchObject({ withdrawn: 1 });
    expect(after.records).toHaveLength(records.length - 1);
    expect(records).toEqual(expect.arrayContaining([...after.records]));
    expect((await clinic.pooling.withdrawals()).map(({ receipt }) => receipt?.versionsRemoved)).toEqual([1]);
    // Whoever had another pseudonym would be new.
    expect((await clinic.pooling.preview())?.counts).toMatchObject({ new: 0 });
  });

  it('and consent that goes while there is no link is found at the service once there is one', async () => {
    const { link } = await clinic.pooling.state();
    const code = await furtherCode(link?.member ?? '');
    await clinic.pooling.unlink();
    await changeFirst(clinic, 2, withoutConsent);
    await clinic.pooling.link(pool.address, code);
    expect(await pool.held()).toMatchObject({ withdrawn: 2 });
  });

  async function furtherCode(member: string): Promise<string> {
    const { data } = await pool.service.ask('invite', { role: 'centre', member }, pool.coordinator);
    return String(data['code']);
  }
});
