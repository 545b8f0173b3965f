import { copyFileSync, existsSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { randomUUID } from 'node:crypto';
import { Client } from 'pg';
import { backUp, restore } from '../command/backup';
import { openTestStore, testService, type Reply, type TestService } from '../service.fixture';
import { ownThread } from '../pool/computer';
import type { StorePlace } from '../store/open-store';
import type { StudyWriter, SyncStore } from '../store/sync-store';

/** Where the service under test stands: it can crash, and be restored from a backup. */
export interface Ground {
  service(): TestService;
  setClock(now: Date): void;
  now(): Date;
  /**
   * Starts requests and lets the store crash after so many of its reads and writes. Returns the answers that came before
   * the crash, in the order of the requests; null for those that did not. Then the service is up again.
   */
  crashDuring(requests: readonly (() => Promise<Reply>)[], after: number): Promise<(Reply | null)[]>;
  /** Copies the store while the service goes on. */
  backUp(): Promise<void>;
  /** Goes on from the latest backup in a new store; false where there is none. */
  restore(): Promise<boolean>;
  close(): Promise<void>;
}

/** Calls of the store, counted down to a crash. */
interface Fuse {
  left: number;
  burn: () => void;
}

/** A store that burns the fuse at each read or write within its transactions. */
function fused(store: SyncStore, fuse: Fuse): SyncStore {
  const counted = (writer: StudyWriter): StudyWriter =>
    new Proxy(writer, {
      get(target, name, receiver): unknown {
        const member: unknown = Reflect.get(target, name, receiver);
        if (typeof member !== 'function') return member;
        return (...given: unknown[]): unknown => {
          if (fuse.left-- === 0) fuse.burn();
          return Reflect.apply(member, target, given);
        };
      },
    });
  return { ...store, write: (work) => store.write((writer) => work(counted(writer))) };
}

const STEADY_READS = 20;
const MOST_PAUSES = 200;

/** Waits until the store answers again, on every connection that was cut. */
async function untilSteady(store: SyncStore): Promise<void> {
  for (let reads = 0, pauses = 0; reads < STEADY_READS;) {
    const answered = await store
      .read((reader) => reader.study())
      .then(
        () => true,
        () => false,
      );
    reads = answered ? reads + 1 : 0;
    if (answered) continue;
    if (pauses++ > MOST_PAUSES) throw new Error('the store did not come back');
    await new Promise((resolve) => setTimeout(resolve, 10));
  }
}

/** Prepares a ground; `newPlace` gives an empty database each time. */
export async function openGround(
  folder: string,
  newPlace: () => StorePlace,
  crashServer: (() => void) | null,
): Promise<Ground> {
  const fuse: Fuse = { left: -1, burn: () => undefined };
  let place = newPlace();
  let clock = new Date('2026-03-10T10:00:00Z');
  let backup: string | null = null;
  const open = async (at: StorePlace): Promise<TestService> => {
    const opened = await testService(at, ownThread, (store) => fused(store, fuse));
    opened.setClock(clock);
    return opened;
  };
  let service = await open(place);

  /** Runs requests; says what was answered before the crash, and what in all. */
  const runUntil = async (
    requests: readonly (() => Promise<Reply>)[],
    after: number,
    crash: () => void,
  ): Promise<{ readonly before: (Reply | null)[]; readonly all: (Reply | null)[] }> => {
    const all: (Reply | null)[] = requests.map(() => null);
    let before: (Reply | null)[] | null = null;
    const burn = (): void => {
      before = [...all];
      crash();
    };
    Object.assign(fuse, { left: after, burn });
    await Promise.all(
      requests.map(async (request, index) => {
        const reply = await request();
        all[index] = reply.reason === 'unavailable' ? null : reply;
      }),
    );
    fuse.left = -1;
    if (before === null) burn();
    return { before: before ?? all, all };
  };

  /** What a crash leaves of SQLite's files at this very moment; the next service opens that. */
  const crashSqlite = async (
    from: Extract<StorePlace, { kind: 'sqlite' }>,
    requests: readonly (() => Promise<Reply>)[],
    after: number,
  ): Promise<(Reply | null)[]> => {
    const left = { kind: 'sqlite', path: join(folder, `${randomUUID()}.sqlite`) } as const;
    const { before } = await runUntil(requests, after, () => {
      for (const end of ['', '-wal']) {
        if (existsSync(from.path + end)) copyFileSync(from.path + end, left.path + end);
      }
    });
    await service.close();
    for (const end of ['', '-wal', '-shm']) rmSync(from.path + end, { force: true });
    place = left;
    service = await open(place);
    return before;
  };

  /** Cuts every connection of the service to PostgreSQL, or the whole server; the same service goes on. */
  const crashPostgres = async (
    url: string,
    requests: readonly (() => Promise<Reply>)[],
    after: number,
  ): Promise<(Reply | null)[]> => {
    const cutter = new Client(url);
    cutter.on('error', () => undefined);
    await cutter.connect();
    let cut: Promise<unknown> = Promise.resolve();
    const { all } = await runUntil(requests, after, () => {
      cut = cutter
        .query(
          'SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()',
        )
        .catch(() => undefined);
    });
    await cut;
    await cutter.end();
    if (crashServer !== null && after % 8 === 0) crashServer();
    await untilSteady(service.store);
    return all;
  };

  return {
    service: () => service,
    now: () => clock,
    setClock: (now) => {
      clock = now;
      service.setClock(now);
    },
    crashDuring: (requests, after) =>
      place.kind === 'sqlite'
        ? crashSqlite(place, requests, after)
        : crashPostgres(place.url, requests, after),
    backUp: async () => {
      backup = join(folder, `${randomUUID()}.backup`);
      await backUp(service.store, backup);
    },
    restore: async () => {
      if (backup === null) return false;
      const fresh = newPlace();
      const store = await openTestStore(fresh);
      await restore(store, backup, () => clock);
      await store.close();
      await service.close();
      place = fresh;
      service = await open(place);
      return true;
    },
    close: () => service.close(),
  };
}
