import { sql } from 'drizzle-orm';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { connect } from './database';
import { createStore } from './create-store';
import { StoreError } from './errors';
import { readMasterKey } from './key-file';
import { openStore } from './open-store';
import type { Store } from './store';
import { deriveStoreKeys } from './store-keys';
import {
  AUTHORSHIP,
  GROWTH_TABLE,
  importOf,
  inventedStudy,
  PASSPHRASE,
  storeOptions,
  tableImport,
  temporaryFolder,
} from './store.fixture';

const folder = temporaryFolder(afterAll);
let names = 0;
const newPath = (): string => join(folder, `tables ${++names}.longhold`);

async function storeWithTable(path: string): Promise<Store> {
  const store = await createStore(storeOptions(path));
  await store.applyImport(tableImport(null, GROWTH_TABLE));
  return store;
}

async function refusal(attempt: Promise<unknown>): Promise<StoreError> {
  const thrown: unknown = await attempt.then(
    () => null,
    (error: unknown) => error,
  );
  if (!(thrown instanceof StoreError)) throw new Error(`not refused with a StoreError: ${String(thrown)}`);
  return thrown;
}

describe('Growth tables of a store', () => {
  it('come back exactly as imported, also after it was closed and opened', async () => {
    const path = newPath();
    const store = await storeWithTable(path);
    expect(await store.readGrowthTables()).toEqual([GROWTH_TABLE]);
    await store.close();
    const again = await openStore(storeOptions(path));
    expect(await again.readGrowthTables()).toEqual([GROWTH_TABLE]);
    await again.verify();
    await again.close();
  });

  it('are replaced by name and measure, and removed, each change in the audit trail with what was there', async () => {
    const store = await storeWithTable(newPath());
    const changed = { ...GROWTH_TABLE, filmFactor: 0.9 };
    await store.applyImport(tableImport(GROWTH_TABLE, changed));
    expect(await store.readGrowthTables()).toEqual([changed]);
    await store.removeGrowthTable(changed, AUTHORSHIP);
    expect(await store.readGrowthTables()).toEqual([]);
    const trail = await store.auditTrail({ limit: 10 });
    expect(trail.map(({ action }) => action)).toEqual([
      'growth-table-removed',
      'growth-table-changed',
      'import',
      'growth-table-added',
      'import',
    ]);
    expect(trail[1]).toMatchObject({ before: GROWTH_TABLE, after: changed });
    await store.verify();
    const revision = store.revision();
    await store.removeGrowthTable(changed, AUTHORSHIP);
    expect(store.revision()).toBe(revision);
    await store.close();
  });

  it('come with the patients of the same import or not at all', async () => {
    const store = await storeWithTable(newPath());
    const stale = {
      ...importOf([], inventedStudy(3, 1)),
      touchedTables: [{ before: null, after: GROWTH_TABLE }],
    };
    expect((await refusal(store.applyImport(stale))).code).toBe('store-changed');
    expect(await store.readStudy()).toEqual([]);
    await store.close();
  });

  it.each([
    ['is altered', sql`UPDATE growth_tables SET content = replace(content, '0.912', '0.812')`],
    ['is taken away', sql`DELETE FROM growth_tables`],
    ['is given another name', sql`UPDATE growth_tables SET name = 'Other'`],
  ])('are refused as damaged when a row %s outside the program', async (_what, statement) => {
    const path = newPath();
    await (await storeWithTable(path)).close();
    const database = connect(path, deriveStoreKeys(await readMasterKey(path, PASSPHRASE)).cipherKey, 1000);
    await database.write(async (transaction) => {
      await transaction.run(statement);
    });
    database.disconnect();
    const store = await openStore(storeOptions(path));
    const fault = await refusal(store.readGrowthTables());
    expect(fault.code).toBe('store-damaged');
    expect(fault.message).toContain('growth_tables');
    await store.close();
  });
});
