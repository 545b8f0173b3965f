/** Creates a store and says `created` once it is promised to be there. Arguments: store, folder of migrations. */
import { writeSync } from 'node:fs';
import { createStore, StoreError } from '@longhold/desktop/host/store';
import { PASSPHRASE, QUICK_COSTS } from '@longhold/desktop/host/store/store.fixture';

const [path = '', migrationsFolder = ''] = process.argv.slice(2);
try {
  writeSync(1, 'starting\n');
  await createStore({ path, passphrase: PASSPHRASE, migrationsFolder, scryptCosts: QUICK_COSTS });
  writeSync(1, 'created\n');
} catch (thrown) {
  if (!(thrown instanceof StoreError)) throw thrown;
  writeSync(1, `refused ${thrown.code}\n`);
}
