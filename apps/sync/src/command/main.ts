/** The pooling service from the command line: serve, coordinator-code, backup, restore, remove-member, verify. */
import { join } from 'node:path';
import pino from 'pino';
import { ThreadUnpacker } from '../batch/unpacker';
import { createLog } from '../http/log';
import { ProcessComputer } from '../pool/process-computer';
import { openStore } from '../store/open-store';
import { StoreError } from '../store/store-error';
import type { SyncStore } from '../store/sync-store';
import { coordinatorCode } from '../study/enrolment';
import { backUp, restore } from './backup';
import { removeMemberCalled } from './remove-member';
import { readSettings, UsageError, type Settings } from './options';
import { serve } from './serve';
import { verifyStore } from './verify';

const USAGE = `The pooling service.

  npm run sync                        serve
  npm run sync -- coordinator-code    a further enrolment code for the coordinator
  npm run sync -- backup FILE         copy the store, while the service goes on
  npm run sync -- restore FILE        bring a backup into a new store
  npm run sync -- remove-member WHO   take a member out for good, with all that it sent: centre-3, reader-1
  npm run sync -- verify              read everything and say what is wrong

Settings come from the environment; docs/pooling-service.md lists them.`;

const FAILED = 1;
const WRONG_USE = 2;

const now = (): Date => new Date();
const say = (line: string): void => void process.stdout.write(`${line}\n`);

/** Runs a command and returns the exit code; null while the service goes on. */
async function run(words: readonly string[]): Promise<number | null> {
  const [command = 'serve', file, ...more] = words;
  if (command === 'help' || command === '--help') {
    say(USAGE);
    return 0;
  }
  if (more.length > 0) throw new UsageError(USAGE);
  const settings = readSettings(process.env);
  switch (command) {
    case 'serve':
      return file === undefined ? runService(settings) : wrongUse();
    case 'coordinator-code':
      return withStore(settings, async (store) => {
        const { code, expires } = await coordinatorCode(store, now);
        say(`Enrolment code of the coordinator, said this once, good until ${expires}: ${code}`);
        return 0;
      });
    case 'backup':
      return withStore(settings, async (store) => {
        await backUp(store, file ?? wrongUse());
        say(`Backup written to ${file ?? ''}.`);
        return 0;
      });
    case 'restore':
      return withStore(settings, async (store) => {
        await restore(store, file ?? wrongUse(), now);
        say(
          'Restored under a new epoch: clinics will repeat their withdrawals and what the backup did not have.',
        );
        return sayCheck(store);
      });
    case 'remove-member':
      return withStore(settings, async (store) => {
        const { held, receipt } = await removeMemberCalled(store, file ?? wrongUse(), now);
        say(
          `${file ?? ''} is out of the study${held === null ? '' : `, and its ${held} are deleted`}. Receipt ${receipt}.`,
        );
        return 0;
      });
    case 'verify':
      return withStore(settings, sayCheck);
    default:
      return wrongUse();
  }
}

function wrongUse(): never {
  throw new UsageError(USAGE);
}

async function withStore(settings: Settings, work: (store: SyncStore) => Promise<number>): Promise<number> {
  const store = await openStore(settings.place, join(import.meta.dirname, 'migrations'));
  try {
    return await work(store);
  } finally {
    await store.close();
  }
}

async function sayCheck(store: SyncStore): Promise<number> {
  const { records, withdrawn, faults } = await verifyStore(store);
  say(`${records} records, ${withdrawn} withdrawn patients.`);
  for (const fault of faults) say(`Fault: ${fault}`);
  say(faults.length === 0 ? 'Nothing is wrong.' : `${faults.length} faults.`);
  return faults.length === 0 ? 0 : FAILED;
}

async function runService(settings: Settings): Promise<null> {
  const store = await openStore(settings.place, join(import.meta.dirname, 'migrations'));
  const log = createLog(pino.destination({ dest: 2, sync: false }));
  const computer = new ProcessComputer(join(import.meta.dirname, 'pool-process.mjs'), settings.computing);
  const unpacker = new ThreadUnpacker(join(import.meta.dirname, 'unpack-worker.mjs'));
  const service = await serve({ settings, store, log, computer, unpacker, now, say });
  let stopping = false;
  const stop = (): void => {
    if (stopping) return;
    stopping = true;
    service.stop().then(
      () => process.exit(0),
      () => process.exit(FAILED),
    );
  };
  process.on('SIGTERM', stop);
  process.on('SIGINT', stop);
  return null;
}

// Stores, their logs and backups hold records and digests of tokens: for nobody else on this machine.
process.umask(0o077);

try {
  const code = await run(process.argv.slice(2));
  if (code !== null) process.exitCode = code;
} catch (thrown) {
  const known = thrown instanceof UsageError || thrown instanceof StoreError;
  const code: unknown = Reflect.get(Object(thrown), 'code');
  const kind = thrown instanceof Error ? thrown.name : 'unknown';
  console.error(
    known ? thrown.message : `The service could not do it (${typeof code === 'string' ? code : kind}).`,
  );
  process.exitCode = thrown instanceof UsageError ? WRONG_USE : FAILED;
}
