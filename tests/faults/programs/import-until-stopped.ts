/**
 * Opens a store and imports one thing after another. Says `acknowledged N` once import N is promised to be kept, and
 * `refused CODE` when the store refuses one. Arguments: store, folder of migrations, number of the last import.
 */
import { writeSync } from 'node:fs';
import { openStore, StoreError } from '@longhold/desktop/host/store';
import { importOf, PASSPHRASE } from '@longhold/desktop/host/store/store.fixture';
import { importNumber } from './growing-study';

const [path = '', migrationsFolder = '', last = ''] = process.argv.slice(2);
const say = (line: string): void => void writeSync(1, `${line}\n`);

try {
  const store = await openStore({ path, passphrase: PASSPHRASE, migrationsFolder });
  for (let number = store.revision() + 1; number <= Number(last); number++) {
    const { from, to } = importNumber(number);
    await store.applyImport(importOf(from, to));
    say(`acknowledged ${number}`);
  }
  await store.close();
} catch (thrown) {
  if (!(thrown instanceof StoreError)) throw thrown;
  say(`refused ${thrown.code}`);
}
