import { randomUUID } from 'node:crypto';
import { connect, type Socket } from 'node:net';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { gzipSync } from 'node:zlib';
import { EPOCH_HEADER, PROTOCOL_HEADER } from '@longhold/core/exchange';
import { afterAll, afterEach, beforeEach, describe, expect, it } from 'vitest';
import { verifyStore } from './command/verify';
import {
  batchOf,
  INVENTED_DEFINITION,
  inventedRecord,
  quickDisk,
  temporaryFolder,
  testService,
  versionOf,
  type TestService,
} from './service.fixture';

const folder = temporaryFolder(afterAll, quickDisk());

describe('Over a bad network, the service', () => {
  let service: TestService;
  let port: number;
  let token: string;
  let epoch: string;
  beforeEach(async () => {
    service = await testService({ kind: 'sqlite', path: join(folder, `${randomUUID()}.sqlite`) });
    const { token: coordinator } = await service.enrolled('coordinator');
    ({ token } = await service.enrolled('centre'));
    await service.ask('publish', { basedOn: 0, definition: INVENTED_DEFINITION }, coordinator);
    ({ epoch } = await service.store.read((reader) => reader.study()));
    await service.server.listen({ host: '127.0.0.1', port: 0 });
    const address = service.server.server.address();
    port = typeof address === 'object' && address !== null ? address.port : 0;
  });
  afterEach(() => service.close());

  /** The bytes of a push as they go over the wire. */
  function bytesOf(batch: unknown, compressed = false): Buffer {
    const text = Buffer.from(JSON.stringify(batch));
    const body = compressed ? gzipSync(text) : text;
    const head = [
      'POST /rpc/push HTTP/1.1',
      'host: 127.0.0.1',
      'content-type: application/json',
      `${PROTOCOL_HEADER}: 1`,
      `${EPOCH_HEADER}: ${epoch}`,
      `authorization: Bearer ${token}`,
      `content-length: ${body.length}`,
      ...(compressed ? ['content-encoding: gzip'] : []),
      '',
      '',
    ].join('\r\n');
    return Buffer.concat([Buffer.from(head), body]);
  }

  async function dial(): Promise<{ socket: Socket; ended: Promise<string> }> {
    const socket = connect(port, '127.0.0.1');
    await new Promise((resolve) => socket.once('connect', resolve));
    let text = '';
    socket.setEncoding('utf8').on('data', (chunk: string) => (text += chunk));
    const ended = new Promise<string>((resolve) => {
      socket.on('error', () => resolve(text)).on('close', () => resolve(text));
    });
    return { socket, ended };
  }

  const batchOfThree = () => batchOf([1, 2, 3].map((number) => versionOf(inventedRecord(number))));

  it('stores nothing of a request that was cut anywhere, all of one whose answer was cut, and answers the repeat', async () => {
    for (const compressed of [false, true]) {
      const held = (await verifyStore(service.store)).records;
      const batch = batchOf([1, 2, 3].map((number) => versionOf(inventedRecord(held + number))));
      const whole = bytesOf(batch, compressed);
      for (let part = 1; part < 12; part++) {
        const { socket, ended } = await dial();
        socket.write(whole.subarray(0, Math.floor((whole.length * part) / 12)));
        await pause(5);
        socket.destroy();
        await ended;
      }
      expect((await verifyStore(service.store)).records).toBe(held);
      const { socket, ended } = await dial();
      socket.write(whole);
      for (let waited = 0; waited < 400; waited++) {
        if ((await verifyStore(service.store)).records > held) break;
        await pause(5);
      }
      socket.destroy();
      await ended;
      const again = await service.ask('push', batch, token);
      const kinds = [again.data['items']].flat().map((item) => Reflect.get(Object(item), 'kind'));
      expect(kinds).toEqual(['stored', 'stored', 'stored']);
    }
    expect(await verifyStore(service.store)).toEqual({ records: 6, withdrawn: 0, faults: [] });
  });

  it('cuts off who sends too slowly, and answers others meanwhile', async () => {
    const began = Date.now();
    const whole = bytesOf(batchOfThree());
    const slow = await Promise.all(Array.from({ length: 40 }, () => dial()));
    // Half of them drip already in the head, half in the body.
    const headLength = whole.indexOf('\r\n\r\n') + 4;
    slow.forEach(({ socket }, index) => index % 2 === 0 && socket.write(whole.subarray(0, headLength)));
    let sent = 0;
    const drip = setInterval(() => {
      slow.forEach(({ socket }, index) => {
        const from = sent + (index % 2 === 0 ? headLength : 0);
        if (socket.writable) socket.write(whole.subarray(from, from + 1));
      });
      sent++;
    }, 20);
    const prompt = await service.ask('push', batchOfThree(), token);
    expect(prompt.reason).toBe(null);
    const said = await Promise.all(slow.map(({ ended }) => ended));
    clearInterval(drip);
    expect(Date.now() - began).toBeLessThan(20_000);
    expect(said.every((text) => text === '' || text.startsWith('HTTP/1.1 408'))).toBe(true);
    expect(await verifyStore(service.store)).toEqual({ records: 3, withdrawn: 0, faults: [] });
  });

  it('answers the same batch on many connections at once the same, and stores it once', async () => {
    const batch = batchOfThree();
    const replies = await Promise.all(
      Array.from({ length: 25 }, async () => {
        const { socket, ended } = await dial();
        socket.write(bytesOf(batch).toString().replace('host:', 'connection: close\r\nhost:'));
        return (await ended).split('\r\n\r\n')[1];
      }),
    );
    expect(new Set(replies).size).toBe(1);
    expect(replies[0]).toContain('"stored"');
    expect(await verifyStore(service.store)).toEqual({ records: 3, withdrawn: 0, faults: [] });
  });
});
