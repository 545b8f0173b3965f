/**
 * Clinics' programs in one process: each changes patients, takes back consents and sends to a pooling service until the
 * process is killed, or ends itself as `kill -9` would at a named place. Its argument is a PoolJob as JSON.
 */
import { writeSync } from 'node:fs';
import { createClient } from '@libsql/client';
import type { RecordVersion } from '@longhold/core/exchange';
import { createRandom, type RandomStream } from '@longhold/core/numeric';
import { OpenStudy } from '@longhold/desktop/host/open-study';
import { pseudonymOf } from '@longhold/desktop/host/pooling/pseudonyms';
import { openStore, type Store } from '@longhold/desktop/host/store';
import { PASSPHRASE, importOf } from '@longhold/desktop/host/store/store.fixture';
import { nextPatients } from './pool-patients';
import { poolJobSchema, type KillPoint, type PoolLine, type PutItem } from './pool-ledger';

const job = poolJobSchema.parse(JSON.parse(process.argv[2] ?? ''));
const say = (line: PoolLine): void => void writeSync(1, `${JSON.stringify(line)}\n`);

let left = job.point?.count ?? 0;
function passing(place: KillPoint['place']): void {
  if (job.point?.place !== place) return;
  left -= 1;
  if (left === 0) process.kill(process.pid, 'SIGKILL');
}

/** The driver's transactions, so that a cut can fall between any two statements and on both sides of a commit. */
async function watchTransactions(): Promise<void> {
  const client = createClient({ url: ':memory:' });
  const kind: unknown = Object.getPrototypeOf(await client.transaction('write'));
  client.close();
  watch(kind, 'execute', () => passing('statement'));
  watch(
    kind,
    'commit',
    () => passing('commit'),
    () => passing('committed'),
  );
}

function watch(target: unknown, name: string, before: () => void, after: () => void = () => undefined): void {
  const owner = Object(target);
  const method: unknown = Reflect.get(owner, name);
  if (typeof method !== 'function') throw new Error(`there is no ${name} to watch`);
  Reflect.set(owner, name, async function (this: unknown, ...words: unknown[]): Promise<unknown> {
    before();
    const answer: unknown = await Reflect.apply(method, this, words);
    after();
    return answer;
  });
}

await watchTransactions();
watch(
  globalThis,
  'fetch',
  () => passing('request'),
  () => passing('answer'),
);

await Promise.all((await Promise.all(job.stores.map(openClinic))).map((run) => run()));

/** Opens a clinic's store; what comes back pools from it for ever. */
async function openClinic(path: string, clinic: number): Promise<() => Promise<never>> {
  const store = await openStore({ path, passphrase: PASSPHRASE, migrationsFolder: job.migrationsFolder });
  tellOfOutbox(store, clinic);
  const { book } = await store.readPooling();
  const [linked] = book.secret.values();
  if (linked === undefined) throw new Error('the store is linked to no study');
  const open = new OpenStudy(store, null, () => new Date(job.now), 'test');
  const random = createRandom(job.seed + clinic);
  return async () => {
    say({ ready: true });
    for (;;) await changeAndSend(open, { clinic, secret: linked.secret, random });
  };
}

/** Says what is put into a store's outbox, before and after it is written. */
function tellOfOutbox(store: Store, clinic: number): void {
  const change = store.changePooling.bind(store);
  store.changePooling = async (given, authorship) => {
    const items = given.put.flatMap((document) =>
      document.kind === 'outbox' ? document.value.items.map(putItemOf) : [],
    );
    if (items.length > 0) say({ clinic, putting: items });
    const revision = await change(given, authorship);
    if (items.length > 0) say({ clinic, put: items });
    return revision;
  };
}

function putItemOf(item: RecordVersion): PutItem {
  return item.kind === 'record'
    ? { pseudonym: item.record.pseudonym, version: item.version }
    : { pseudonym: item.pseudonym, version: null };
}

async function changeAndSend(
  { store, pooling }: OpenStudy,
  given: { readonly clinic: number; readonly secret: string; readonly random: RandomStream },
): Promise<void> {
  const { clinic, secret, random } = given;
  const from = await store.readStudy();
  const to = nextPatients(from, random);
  const gone = to.filter(({ patient }) => !patient.consentPooling);
  for (const { patient } of gone) say({ clinic, consentGone: pseudonymOf(secret, patient.code) });
  if (to.length > 0) await store.applyImport(importOf(from, to));
  const shown = await pooling.preview();
  if (shown !== null && shown.withdrawalsToConfirm !== null) {
    // Kills before the exchange leave several consents gone at once.
    await pooling.confirmWithdrawals(shown.withdrawalsToConfirm.digest);
    await pooling.finished();
  }
  const preview = random.integer(3) === 0 ? null : await pooling.preview();
  if (preview !== null && preview.withdrawalsToConfirm !== null) return;
  await (preview === null ? pooling.startCheck() : pooling.startSend(preview.digest));
  await pooling.finished();
}
