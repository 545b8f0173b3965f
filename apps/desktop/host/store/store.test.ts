import { readdirSync, readFileSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { PatientHistory } from '@longhold/core/records';
import { createStore } from './create-store';
import { StoreError } from './errors';
import { openStore } from './open-store';
import { AUTHORSHIP, importOf, inventedStudy, storeOptions, temporaryFolder } from './store.fixture';
import type { Store } from './store';

const folder = temporaryFolder(afterAll);
let names = 0;
const newPath = (): string => join(folder, `clinic ${++names}.longhold`);

async function codeOf(attempt: Promise<unknown>): Promise<string> {
  const error: unknown = await attempt.then(
    () => null,
    (thrown: unknown) => thrown,
  );
  if (!(error instanceof StoreError)) throw new Error(`not refused with a StoreError: ${String(error)}`);
  return error.code;
}

describe('A store', () => {
  it('gives back every patient exactly as imported, also after it was closed and opened', async () => {
    const path = newPath();
    const study = inventedStudy(60, 1);
    const store = await createStore(storeOptions(path));
    await store.applyImport(importOf([], study));
    expect(await store.readStudy()).toEqual(study);
    await store.close();
    const again = await openStore(storeOptions(path));
    expect(await again.readStudy()).toEqual(study);
    expect(again.revision()).toBe(1);
    await again.close();
  });

  it('keeps the unknown apart from no, in small imports and in large ones', async () => {
    const store = await createStore(storeOptions(newPath()));
    const study = inventedStudy(2500, 2, 1);
    await store.applyImport(importOf([], study));
    const expansions = (await store.readStudy()).map(({ patient }) => patient.expansion);
    expect(expansions).toEqual(study.map(({ patient }) => patient.expansion));
    expect(new Set(expansions)).toEqual(new Set([true, false, null]));
    await store.close();
  });

  it('lies on the disk as one unreadable file and one key file, both for the owner only', async () => {
    const path = newPath();
    const store = await createStore(storeOptions(path));
    await store.applyImport(importOf([], inventedStudy(40, 3)));
    const whileOpen = readdirSync(folder).filter((name) => name.startsWith(`clinic ${names}.`));
    for (const name of whileOpen) expect(readFileSync(join(folder, name)).includes('Co-Gn')).toBe(false);
    await store.close();
    expect(readdirSync(folder).filter((name) => name.startsWith(`clinic ${names}.`))).toEqual([
      `clinic ${names}.longhold`,
      `clinic ${names}.longhold.key`,
    ]);
    for (const file of [path, `${path}.key`]) expect(statSync(file).mode & 0o777).toBe(0o600);
    expect(readFileSync(path).includes('P3-00001')).toBe(false);
  });

  it('makes changes one after the other, however many are asked for at once', async () => {
    const store = await createStore(storeOptions(newPath()));
    const study = inventedStudy(20, 4);
    await Promise.all(study.map((history) => store.applyImport(importOf([], [history]))));
    expect(store.revision()).toBe(20);
    expect(await store.readStudy()).toEqual(study);
    await store.close();
  });

  it('writes nothing for an import that touches nobody', async () => {
    const store = await createStore(storeOptions(newPath()));
    await store.applyImport(importOf([], []));
    expect(store.revision()).toBe(0);
    expect(await store.auditTrail({ limit: 10 })).toEqual([]);
    await store.close();
  });

  it('refuses to build on a patient that changed since it was read, and writes nothing of that import', async () => {
    const store = await createStore(storeOptions(newPath()));
    const [first, second] = inventedStudy(2, 5) as [PatientHistory, PatientHistory];
    await store.applyImport(importOf([], [first]));
    const later = { ...first, events: [] };
    expect(await codeOf(store.applyImport(importOf([], [second, later])))).toBe('store-changed');
    expect(await store.readStudy()).toEqual([first]);
    expect(store.revision()).toBe(1);
    await store.close();
  });

  it('sees what another program changed', async () => {
    const path = newPath();
    const one = await createStore(storeOptions(path));
    const other = await openStore(storeOptions(path));
    const study = inventedStudy(5, 6);
    await other.applyImport(importOf([], study));
    expect(one.revision()).toBe(0);
    expect(await one.latestRevision()).toBe(1);
    expect(await one.readStudy()).toEqual(study);
    await one.close();
    await other.close();
    const again = await openStore(storeOptions(path));
    expect(await again.readStudy()).toEqual(study);
    await again.close();
  });

  it('finishes what was asked before it closes and takes nothing afterwards', async () => {
    const path = newPath();
    const store = await createStore(storeOptions(path));
    const study = inventedStudy(5, 7);
    const written = store.applyImport(importOf([], study));
    await store.close();
    await written;
    await expect(store.readStudy()).rejects.toThrow('the store is closed');
    await store.close();
    const again = await openStore(storeOptions(path));
    expect(await again.readStudy()).toEqual(study);
    await again.close();
  });

  it('does not let a record in that no reader would accept', async () => {
    const store = await createStore(storeOptions(newPath()));
    const [history] = inventedStudy(1, 8) as [PatientHistory];
    const wrong = { ...history, patient: { ...history.patient, code: 'not a code!' } };
    await expect(store.applyImport(importOf([], [wrong]))).rejects.toThrow();
    expect(await store.readStudy()).toEqual([]);
    await store.close();
  });
});

describe('The audit trail', () => {
  const study = inventedStudy(3, 9);
  let store: Store;
  beforeAll(async () => {
    store = await createStore(storeOptions(newPath()));
    await store.applyImport(importOf([], study, 'abc'));
    await store.recordEvent({ code: 'P9-00001', date: '2021-05-05', event: 'withdrew', ...AUTHORSHIP });
    await store.writeSetting('demo', { today: '2024-01-01' }, AUTHORSHIP);
  });
  afterAll(() => store.close());

  it('has one entry for an import and one for each patient it touched, then the later changes', async () => {
    const entries = await store.auditTrail({ limit: 100 });
    expect(entries.map(({ id, action, patient }) => [id, action, patient])).toEqual([
      [6, 'setting-changed', null],
      [5, 'event-recorded', 'P9-00001'],
      [4, 'patient-added', 'P9-00002'],
      [3, 'patient-added', 'P9-00001'],
      [2, 'patient-added', 'P9-00000'],
      [1, 'import', null],
    ]);
    expect(entries[5]).toMatchObject({ ...AUTHORSHIP, before: null, after: { fingerprint: 'abc' } });
    expect(entries[4]).toMatchObject({ before: null, after: study[0] });
    expect(entries[1]).toMatchObject({ after: { date: '2021-05-05', event: 'withdrew' } });
    expect(entries[0]).toMatchObject({ before: null, after: { demo: { today: '2024-01-01' } } });
  });

  it('is read page by page, newest first', async () => {
    const ids = async (page: { limit: number; before?: number }): Promise<number[]> =>
      (await store.auditTrail(page)).map(({ id }) => id);
    expect(await ids({ limit: 2 })).toEqual([6, 5]);
    expect(await ids({ limit: 2, before: 5 })).toEqual([4, 3]);
    expect(await ids({ limit: 9, before: 3 })).toEqual([2, 1]);
    expect(await ids({ limit: 9, before: 1 })).toEqual([]);
  });

  it('does not grow when an event is recorded a second time', async () => {
    const revision = store.revision();
    await store.recordEvent({ code: 'P9-00001', date: '2021-05-05', event: 'withdrew', ...AUTHORSHIP });
    expect(store.revision()).toBe(revision);
    expect(await store.auditTrail({ limit: 100 })).toHaveLength(6);
  });

  it('knows nothing of an event of an unknown patient, which is refused', async () => {
    const event = { code: 'nobody', date: '2021-05-05', event: 'moved', ...AUTHORSHIP } as const;
    expect(await codeOf(store.recordEvent(event))).toBe('unknown-patient');
    expect(await store.auditTrail({ limit: 100 })).toHaveLength(6);
  });

  it('gives settings back as written, and null for one never written', async () => {
    expect(await store.readSetting('demo')).toEqual({ today: '2024-01-01' });
    const fresh = await createStore(storeOptions(newPath()));
    expect(await fresh.readSetting('demo')).toBeNull();
    await fresh.close();
  });
});
