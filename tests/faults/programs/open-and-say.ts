/** Opens a store and says `opened` once it is in this program's form. Arguments: store, folder of migrations. */
import { writeSync } from 'node:fs';
import { openStore } from '@longhold/desktop/host/store';
import { PASSPHRASE } from '@longhold/desktop/host/store/store.fixture';

const [path = '', migrationsFolder = ''] = process.argv.slice(2);
writeSync(1, 'opening\n');
const store = await openStore({ path, passphrase: PASSPHRASE, migrationsFolder });
writeSync(1, 'opened\n');
await store.close();
