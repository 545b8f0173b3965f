import { randomUUID } from 'node:crypto';
import { canonicalRecord } from '@longhold/core/contribution';
import type { IsoDate, Study } from '@longhold/core/records';
import { confirmed } from '@longhold/desktop/host/pooling/confirm';
import { runExchange } from '@longhold/desktop/host/pooling/exchange-run';
import { enrol, linked } from '@longhold/desktop/host/pooling/linking';
import { outgoing, type Outgoing } from '@longhold/desktop/host/pooling/outgoing';
import { PoolingMemory } from '@longhold/desktop/host/pooling/pooling-memory';
import { previewOf } from '@longhold/desktop/host/pooling/preview';
import { secretOf } from '@longhold/desktop/host/pooling/secret-of';
import { createStore, type PoolingBook } from '@longhold/desktop/host/store';
import { storeOptions } from '@longhold/desktop/host/store/store.fixture';
import type { TestService } from '../../apps/sync/src/service.fixture';

const AT = '2026-03-10T10:00:00.000Z';

/** A clinic that sends records: its patients in memory, what it knows of the pool in a store on disk. */
export interface ClinicInMemory {
  readonly book: () => Promise<PoolingBook>;
  outgoing(): Promise<Outgoing | null>;
  /** What the person is shown of changes. */
  changes(): Promise<readonly string[]>;
  confirm(): Promise<void>;
  /** One exchange; returns what became of what was sent. */
  exchange(): Promise<readonly string[]>;
  close(): Promise<void>;
}

/** Links one by a code. */
export async function clinicInMemory(
  path: string,
  { address, code, study, today }: { address: string; code: string; study: Study; today: IsoDate },
): Promise<ClinicInMemory> {
  const store = await createStore(storeOptions(path));
  const authorship = { actor: 'test', at: AT };
  const memory = new PoolingMemory(
    store,
    () => authorship,
    () => undefined,
  );
  const { link, secret } = await enrol(
    { address, code, from: null, sends: 'records' },
    await memory.read(),
    AT,
  );
  await memory.change((latest) => linked(latest, link, secret));
  const made = async (): Promise<Outgoing | null> => {
    const book = await memory.read();
    return outgoing({ study, today, secret: secretOf(book) ?? '', book });
  };
  return {
    book: () => memory.read(),
    outgoing: made,
    changes: async () => {
      const now = await made();
      return now === null ? [] : previewOf(now, await memory.read(), null).changes;
    },
    confirm: async () => {
      const now = await made();
      if (now !== null) await memory.change((book) => confirmed(book, now, randomUUID));
    },
    exchange: async () => {
      let said: readonly string[] = [];
      await runExchange({
        memory,
        study: () => Promise.resolve(study),
        today: () => today,
        now: () => new Date(AT),
        stop: new AbortController().signal,
        onStep: () => undefined,
        onAcknowledged: () => undefined,
        onSaid: (words) => (said = words),
      });
      return said;
    },
    close: () => store.close(),
  };
}

/** The records that a service holds of a member, as canonical texts in order. */
export async function heldBy(service: TestService, member: string): Promise<string[]> {
  const heads = await service.store.read((reader) => reader.headsAfter(member, 0, 10_000));
  return heads.map(({ body }) => canonicalRecord(JSON.parse(body))).sort();
}
