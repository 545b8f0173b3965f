/**
 * One of several programs that write to the same store: adds 20 patients of its own, one import each.
 * Arguments: store, folder of migrations, seed of its patients.
 */
import { openStore } from '@longhold/desktop/host/store';
import { importOf, inventedStudy, PASSPHRASE } from '@longhold/desktop/host/store/store.fixture';

const [path = '', migrationsFolder = '', seed = ''] = process.argv.slice(2);
const store = await openStore({ path, passphrase: PASSPHRASE, migrationsFolder, busyTimeout: 30_000 });
for (const history of inventedStudy(20, Number(seed))) await store.applyImport(importOf([], [history]));
await store.close();
