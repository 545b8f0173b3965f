/**
 * Flips single bits of a store, opens it and reads everything. Says one line for each position: the refusal's code,
 * `same` when what was read is what was written, or `DIFFERENT`. Arguments: store, folder of migrations; the positions
 * come as JSON on standard input.
 */
import { readFileSync, writeFileSync, writeSync } from 'node:fs';
import { isDeepStrictEqual } from 'node:util';
import { openStore, StoreError } from '@longhold/desktop/host/store';
import { PASSPHRASE } from '@longhold/desktop/host/store/store.fixture';

const [path = '', migrationsFolder = ''] = process.argv.slice(2);
const positions = JSON.parse(readFileSync(0, 'utf8')) as number[];
const whole = readFileSync(path);

async function readEverything(): Promise<unknown[]> {
  const store = await openStore({ path, passphrase: PASSPHRASE, migrationsFolder });
  try {
    await store.verify();
    return [await store.readStudy(), await store.auditTrail({ limit: 10_000 })];
  } finally {
    await store.close();
  }
}

const written = await readEverything();
for (const position of positions) {
  const bytes = Buffer.from(whole);
  bytes[position] = (bytes[position] ?? 0) ^ (1 << (position % 8));
  writeFileSync(path, bytes);
  let outcome: string;
  try {
    outcome = isDeepStrictEqual(await readEverything(), written) ? 'same' : 'DIFFERENT';
  } catch (thrown) {
    outcome = thrown instanceof StoreError ? thrown.code : `NOT A STORE ERROR ${String(thrown)}`;
  }
  writeSync(1, `${position} ${outcome}\n`);
}
