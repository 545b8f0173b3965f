import { createServer, type IncomingHttpHeaders, type ServerResponse } from 'node:http';
import { buffer } from 'node:stream/consumers';
import { gunzipSync } from 'node:zlib';
import { afterEach, describe, expect, it } from 'vitest';
import { serviceClient } from './service-client';

interface Received {
  readonly url: string;
  readonly headers: IncomingHttpHeaders;
  readonly body: Buffer;
}

let close: () => void = () => undefined;
afterEach(() => close());

/** Something that listens where a service should be. */
async function listening(
  answer: (response: ServerResponse) => void,
): Promise<{ address: string; received: Received[] }> {
  const received: Received[] = [];
  const server = createServer((request, response) => {
    void buffer(request).then((body) => {
      received.push({ url: request.url ?? '', headers: request.headers, body });
      answer(response);
    });
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  close = () => {
    server.closeAllConnections();
    server.close();
  };
  const place = server.address();
  return { address: `http://127.0.0.1:${typeof place === 'object' ? place?.port : ''}`, received };
}

const refusing =
  (status: number, reason: string) =>
  (response: ServerResponse): void => {
    response.writeHead(status, { 'content-type': 'application/json' });
    response.end(JSON.stringify({ error: { message: 'What would be right.', data: { reason } } }));
  };
const TOKEN = 'T'.repeat(43);

describe('A request to the service', () => {
  it('carries protocol, token and input and nothing else; large ones are packed', async () => {
    const { address, received } = await listening((response) =>
      response.end(JSON.stringify({ result: { data: { oldest: 1, newest: 1 } } })),
    );
    const client = serviceClient(address, TOKEN);
    expect(await client.ask('protocol', {})).toEqual({ oldest: 1, newest: 1 });
    const [request] = received;
    expect(request?.url).toBe('/rpc/protocol');
    expect(request?.body.toString()).toBe('{}');
    expect(request?.headers).toMatchObject({ authorization: `Bearer ${TOKEN}`, 'longhold-protocol': '1' });
    const expected = ['accept', 'accept-encoding', 'accept-language', 'authorization', 'connection'];
    const more = [
      'content-length',
      'content-type',
      'host',
      'longhold-protocol',
      'sec-fetch-mode',
      'user-agent',
    ];
    expect(Object.keys(request?.headers ?? {}).sort()).toEqual([...expected, ...more]);
    const items = Array.from(
      { length: 40 },
      () => ({ kind: 'withdrawal', pseudonym: 'a'.repeat(32) }) as const,
    );
    const push = { batch: '0d3c86c7-4b56-4f0e-9a43-19a5a7a4a001', definition: 1, items };
    await client.ask('push', push).catch(() => undefined);
    expect(received[1]?.headers['content-encoding']).toBe('gzip');
    expect(JSON.parse(gunzipSync(received[1]?.body ?? '').toString())).toEqual(push);
  });

  it.each([
    [426, 'protocol-too-old', 'Update it; what waits is kept'],
    [501, 'protocol-too-new', 'Ask whoever runs it to update it'],
    [401, 'revoked', 'Ask for a new enrolment code'],
    [503, 'unavailable', 'What would be right.'],
  ])('refused with %i %s says what to do', async (status, code, words) => {
    const { address } = await listening(refusing(status, code));
    const asked = serviceClient(address, TOKEN).ask('session', {});
    await expect(asked).rejects.toMatchObject({ code, message: expect.stringContaining(words) });
  });

  it('answered by something else, in another form or not at all is no answer, and is never taken for one', async () => {
    const other = await listening((response) => response.end('<html>welcome</html>'));
    await expect(serviceClient(other.address, TOKEN).ask('session', {})).rejects.toMatchObject({
      code: 'unreachable',
    });
    close();
    const newer = await listening((response) =>
      response.end(JSON.stringify({ result: { data: { oldest: 1, newest: 1, more: true } } })),
    );
    const asked = serviceClient(newer.address, TOKEN).ask('protocol', {});
    await expect(asked).rejects.toThrow('in a form that this program does not know');
    close();
    await expect(serviceClient(newer.address, TOKEN).ask('protocol', {})).rejects.toThrow('gave no answer');
  });

  it('is not sent on to another host', async () => {
    const elsewhere = await listening((response) => response.end('{}'));
    const closeElsewhere = close;
    const { address } = await listening((response) => {
      response.writeHead(307, { location: `${elsewhere.address}/rpc/session` });
      response.end();
    });
    await expect(serviceClient(address, TOKEN).ask('session', {})).rejects.toMatchObject({
      code: 'unreachable',
    });
    expect(elsewhere.received).toEqual([]);
    closeElsewhere();
  });

  it('can be stopped while it waits', async () => {
    const { address } = await listening(() => undefined);
    const stop = new AbortController();
    const asked = serviceClient(address, TOKEN).ask('session', {}, stop.signal);
    setTimeout(() => stop.abort(), 20);
    await expect(asked).rejects.toThrow('stopped');
  });
});
