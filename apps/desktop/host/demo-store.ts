import { randomBytes } from 'node:crypto';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { mergeGrowthTables, mergeStudy } from '@longhold/core/intake';
import { DEMO_DEFAULTS, generateDemo } from '@longhold/demo';
import { createStore, type Store } from './store';

/** An invented study in a store of its own, in a temporary folder that `discard` removes. */
export interface DemoStore {
  readonly store: Store;
  readonly today: string;
  readonly discard: () => Promise<void>;
}

/** Weak on purpose: the demo is invented, its passphrase is thrown away, and it should open at once. */
const DEMO_SCRYPT_COSTS = { cost: 2 ** 10, blockSize: 8, parallel: 1 } as const;

/** Draws the invented study and puts it into a store, by the same path that a clinic's records take. */
export async function openDemoStore(migrationsFolder: string, at: string): Promise<DemoStore> {
  const folder = await mkdtemp(join(tmpdir(), 'longhold-demo-'));
  const discard = (): Promise<void> => rm(folder, { recursive: true, force: true });
  try {
    const { study, tables, today } = generateDemo(DEMO_DEFAULTS);
    const { touched, changes } = mergeStudy([], study);
    const merged = mergeGrowthTables([], tables);
    const store = await createStore({
      path: join(folder, 'demo.longhold'),
      passphrase: randomBytes(24).toString('hex'),
      migrationsFolder,
      scryptCosts: DEMO_SCRYPT_COSTS,
    });
    await store.applyImport({
      touched,
      touchedTables: merged.touched,
      counts: { ...changes, growthTables: merged.tally },
      fingerprint: 'invented demo',
      at,
      actor: 'demo',
    });
    await store.writeSetting('demo', { today }, { at, actor: 'demo' });
    return { store, today, discard };
  } catch (thrown) {
    await discard();
    throw thrown;
  }
}
