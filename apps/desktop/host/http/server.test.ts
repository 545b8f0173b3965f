import { request, type IncomingHttpHeaders } from 'node:http';
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { Host } from '../host';
import { servePage, type PageServer } from './server';

interface Answer {
  readonly status: number;
  readonly headers: IncomingHttpHeaders;
  readonly body: string;
}

const LARGEST_CALL = 1_000_000;

let folder: string;
let host: Host;
let server: PageServer;

beforeEach(async () => {
  folder = await mkdtemp(join(tmpdir(), 'longhold-page-'));
  await writeFile(join(folder, 'index.html'), '<!doctype html><title>Longhold</title>');
  host = new Host({
    version: '0',
    migrationsFolder: folder,
    workerFile: join(folder, 'none.cjs'),
  });
  server = await servePage({ host, pageFolder: folder, largestCall: LARGEST_CALL });
});

afterEach(async () => {
  await server.close();
  await host.close();
  await rm(folder, { recursive: true, force: true });
});

/** Raw requests, since a browser's own client would mend paths and refuse to name another host. */
function ask(
  method: string,
  path: string,
  options: { headers?: Record<string, string>; body?: string } = {},
): Promise<Answer> {
  return new Promise((resolve, reject) => {
    const sent = request(
      { host: '127.0.0.1', port: server.port, method, path, headers: options.headers ?? {}, timeout: 5_000 },
      (response) => {
        let body = '';
        response.on('data', (chunk: Buffer) => (body += chunk.toString()));
        response.on('end', () =>
          resolve({ status: response.statusCode ?? 0, headers: response.headers, body }),
        );
      },
    );
    sent.on('error', reject);
    sent.end(options.body);
  });
}

const keyOf = (address: string): string => new URL(address).hash.replace('#key=', '');
const state = (headers: Record<string, string> = {}): Promise<Answer> =>
  ask('POST', '/rpc/session.state', { headers: { 'content-type': 'application/json', ...headers } });

async function session(): Promise<string> {
  const answer = await ask('POST', '/session', { body: keyOf(server.address) });
  return answer.headers['set-cookie']?.[0]?.split(';')[0] ?? '';
}

describe('the page server', () => {
  it('answers the router only to who brought the one-time key', async () => {
    expect((await state()).status).toBe(401);
    const answer = await state({ cookie: await session() });
    expect(answer.status).toBe(200);
    expect(JSON.parse(answer.body)).toMatchObject({ result: { data: { store: null } } });
  });

  it('takes the key once, and a wrong key does not use it up', async () => {
    expect((await ask('POST', '/session', { body: 'guess' })).status).toBe(403);
    expect((await ask('POST', '/session', { body: keyOf(server.address) })).status).toBe(204);
    const again = await ask('POST', '/session', { body: keyOf(server.address) });
    expect(again.status).toBe(403);
    expect(again.body).toContain('used already');
  });

  it('keeps the session from scripts and from other sites', async () => {
    const answer = await ask('POST', '/session', { body: keyOf(server.address) });
    expect(answer.headers['set-cookie']?.[0]).toMatch(/HttpOnly; SameSite=Strict/);
  });

  it('opening the page uses nothing up', async () => {
    for (let visit = 0; visit < 3; visit++) expect((await ask('GET', '/')).status).toBe(200);
    expect((await ask('POST', '/session', { body: keyOf(server.address) })).status).toBe(204);
  });

  it('refuses a made-up session', async () => {
    expect((await state({ cookie: `longhold-${server.port}=made-up` })).status).toBe(401);
  });

  it.each(['evil.example', 'evil.example:80', '127.0.0.1', '127.0.0.1.evil.example:80'])(
    'refuses a request that names the host %s, as a rebound name would',
    async (name) => {
      expect((await ask('GET', '/', { headers: { host: name } })).status).toBe(403);
      expect((await state({ host: name, cookie: await session() })).status).toBe(403);
    },
  );

  it.each(['http://evil.example', 'null', 'http://127.0.0.1:1'])(
    'refuses a POST from a page of %s',
    async (origin) => {
      expect((await state({ origin, cookie: await session() })).status).toBe(403);
    },
  );

  it.each([
    '/../package.json',
    '/..%2f..%2fetc%2fpasswd',
    '/%2e%2e/%2e%2e/etc/passwd',
    '/index.html%00.js',
    '/%ff',
    '/nothing.js',
  ])('gives nothing for %s', async (path) => {
    expect((await ask('GET', path)).status).toBe(404);
  });

  it('sends a strict content policy with every answer, refusals too', async () => {
    for (const answer of [await ask('GET', '/'), await ask('GET', '/nothing'), await state()]) {
      expect(answer.headers['content-security-policy']).toContain("default-src 'none'");
      expect(answer.headers['x-content-type-options']).toBe('nosniff');
    }
  });

  it('knows no other methods and no other places', async () => {
    expect((await ask('PUT', '/')).status).toBe(405);
    expect((await ask('POST', '/elsewhere')).status).toBe(404);
  });

  it('tells a page without a key, in the same form as any refusal, where its key is', async () => {
    const { error } = JSON.parse((await state()).body);
    expect(error).toMatchObject({
      message: expect.stringContaining('the address that the terminal shows'),
      data: { reason: 'no-session', httpStatus: 401 },
    });
  });

  it('refuses a call that holds more than it takes, and goes on serving', async () => {
    const headers = { cookie: await session(), 'content-type': 'application/json' };
    const body = JSON.stringify({ path: 'x'.repeat(2 * LARGEST_CALL), passphrase: 'x' });
    const answer = await ask('POST', '/rpc/session.open', { headers, body });
    expect(answer.status).toBe(413);
    expect(JSON.parse(answer.body)).toMatchObject({ error: { data: { reason: 'too-large' } } });
    expect((await state({ cookie: headers.cookie })).status).toBe(200);
  });

  it('says in a closed word and a plain sentence why a call was refused, and nothing of its inside', async () => {
    const cookie = await session();
    const headers = { cookie, 'content-type': 'application/json' };
    const closed = await ask('POST', '/rpc/recall.list', { headers });
    expect(JSON.parse(closed.body)).toMatchObject({ error: { data: { reason: 'no-store-open' } } });
    const odd = await ask('POST', '/rpc/session.open', { headers, body: '{"path":7,"secret":"canary"}' });
    expect(JSON.parse(odd.body)).toMatchObject({ error: { data: { reason: 'invalid-input' } } });
    expect(odd.body).not.toContain('canary');
    expect(odd.body).not.toMatch(/stack|node_modules|\.ts:/);
  });
});
