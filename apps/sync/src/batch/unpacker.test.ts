import { randomUUID } from 'node:crypto';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { EPOCH_HEADER, PROTOCOL_HEADER } from '@longhold/core/exchange';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { bundleThread } from '../thread/thread.fixture';
import {
  batchOf,
  INVENTED_DEFINITION,
  inventedRecord,
  temporaryFolder,
  testService,
  versionOf,
} from '../service.fixture';
import { ownThreadUnpacker, ThreadUnpacker, type Unpacker } from './unpacker';

const folder = temporaryFolder(afterAll);
let thread: ThreadUnpacker;
beforeAll(async () => {
  thread = new ThreadUnpacker(await bundleThread(folder, join(import.meta.dirname, 'unpack-worker.ts')));
});
afterAll(() => thread.stop());

const bytes = (value: unknown): Uint8Array => new TextEncoder().encode(JSON.stringify(value));
const record = versionOf(inventedRecord(1));
const { pseudonym } = inventedRecord(2);
const BODIES = {
  'a batch': bytes(batchOf([record, { kind: 'withdrawal', pseudonym }])),
  'no JSON': new TextEncoder().encode('{"batch":'),
  'no batch': bytes({ batch: randomUUID(), items: [], definition: 1 }),
  'a key that is not in the protocol': bytes({ ...batchOf([record]), madeUp: 1 }),
  'another digest': bytes(batchOf([{ ...record, basedOn: 'a'.repeat(64) }])),
};

async function endOf(unpacker: Unpacker, body: Uint8Array): Promise<unknown> {
  try {
    return await unpacker.unpack(body.slice());
  } catch (thrown) {
    return { ...Object(thrown), message: Reflect.get(Object(thrown), 'message') };
  }
}

describe('The thread that unpacks batches', () => {
  it.each(Object.entries(BODIES))(
    'gives of %s what is read in the thread of the caller',
    async (_of, body) => {
      expect(await endOf(thread, body)).toEqual(await endOf(ownThreadUnpacker, body));
    },
  );

  it('hands back the record as its canonical text, and refuses with the code of the protocol', async () => {
    expect(await endOf(thread, BODIES['a batch'])).toMatchObject({
      items: [
        {
          kind: 'record',
          version: record.version,
          body: expect.stringMatching(/^\{"ageMonths":150,"events":\[\],/),
        },
        { kind: 'withdrawal', pseudonym },
      ],
    });
    expect(await endOf(thread, BODIES['no JSON'])).toMatchObject({ code: 'wrong-input' });
    expect(await endOf(thread, BODIES['another digest'])).toMatchObject({ code: 'wrong-digest' });
  });

  it('leaves bytes alone that share their memory with others', async () => {
    const shared = new Uint8Array(BODIES['a batch'].length + 8);
    shared.set(BODIES['a batch'], 8);
    await thread.unpack(shared.subarray(8));
    expect(shared.subarray(8)).toEqual(BODIES['a batch']);
  });

  it('answers many bodies in any order of asking, each with its own', async () => {
    const batches = Array.from({ length: 30 }, () => batchOf([record]));
    const unpacked = await Promise.all(batches.map((batch) => thread.unpack(bytes(batch))));
    expect(unpacked.map(({ batch }) => batch)).toEqual(batches.map(({ batch }) => batch));
  });

  it('that dies fails the batch it had as unavailable and the fault is logged; the next batch is stored', async () => {
    const dying = join(folder, 'dying.mjs');
    writeFileSync(
      dying,
      "import { parentPort } from 'node:worker_threads'; parentPort.on('message', () => process.exit(7));",
    );
    const unpackers: [Unpacker, ...Unpacker[]] = [new ThreadUnpacker(dying), thread];
    const service = await testService(
      { kind: 'sqlite', path: join(folder, 'dying.sqlite') },
      undefined,
      undefined,
      { unpacker: { unpack: (body) => unpackers[0].unpack(body), stop: async () => undefined } },
    );
    const { token: coordinator } = await service.enrolled('coordinator');
    await service.ask('publish', { basedOn: 0, definition: INVENTED_DEFINITION }, coordinator);
    const { token } = await service.enrolled('centre');
    expect(await service.ask('push', batchOf([record]), token)).toMatchObject({
      status: 503,
      reason: 'unavailable',
    });
    expect(service.logged()).toContain('ThreadEnded');
    unpackers.shift();
    expect((await service.ask('push', batchOf([record]), token)).data).toMatchObject({
      items: [{ kind: 'stored' }],
    });
    await service.close();
  });

  it('ends after the batches under way were answered when the service is stopped', async () => {
    let stopped = false;
    let stop = (): Promise<void> => Promise.resolve();
    let closed: Promise<void> | null = null;
    const unpacker: Unpacker = {
      unpack: async (body) => {
        closed = stop();
        await new Promise((resolve) => setTimeout(resolve, 100));
        if (stopped) throw new Error('the thread was ended too early');
        return ownThreadUnpacker.unpack(body);
      },
      stop: async () => {
        stopped = true;
      },
    };
    const place = { kind: 'sqlite', path: join(folder, 'stopped.sqlite') } as const;
    const service = await testService(place, undefined, undefined, { unpacker });
    stop = () => service.server.close();
    const { token: coordinator } = await service.enrolled('coordinator');
    await service.ask('publish', { basedOn: 0, definition: INVENTED_DEFINITION }, coordinator);
    const { token } = await service.enrolled('centre');
    const { epoch } = await service.store.read((reader) => reader.study());
    const address = await service.server.listen({ host: '127.0.0.1', port: 0 });
    const reply = await fetch(`${address}/rpc/push`, {
      method: 'POST',
      headers: {
        'content-type': 'application/json',
        [PROTOCOL_HEADER]: '1',
        [EPOCH_HEADER]: epoch,
        authorization: `Bearer ${token}`,
      },
      body: JSON.stringify(batchOf([record])),
      signal: AbortSignal.timeout(10_000),
    });
    expect([reply.status, reply.headers.get('connection')]).toEqual([200, 'close']);
    await closed;
    expect(stopped).toBe(true);
    await service.store.close();
  });
});
