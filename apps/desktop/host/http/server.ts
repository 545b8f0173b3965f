import { createServer, type IncomingMessage, type Server, type ServerResponse } from 'node:http';
import type { AddressInfo } from 'node:net';
import { createHTTPHandler } from '@trpc/server/adapters/standalone';
import { TRPC_ERROR_CODES_BY_KEY } from '@trpc/server/rpc';
import type { FailureReason } from '../failure';
import type { Host } from '../host';
import { LARGEST_CALL } from '../limits';
import { appRouter } from '../router/router';
import { SECURITY_HEADERS } from './content-policy';
import { pageFile } from './page-files';
import { PageKeys } from './page-key';

const LARGEST_KEY_BYTES = 1024;

/** A host that serves its page on this machine only. */
export interface PageServer {
  readonly port: number;
  /** The address to open, with the one-time key in its fragment, which browsers do not send or log. */
  readonly address: string;
  readonly close: () => Promise<void>;
}

/** Serves a host and its page on 127.0.0.1. Port 0 takes any free one. */
export async function servePage(options: {
  readonly host: Host;
  readonly pageFolder: string;
  readonly port?: number;
  /** Bytes that one call may have. */
  readonly largestCall?: number;
}): Promise<PageServer> {
  const keys = new PageKeys();
  const handleRpc = createHTTPHandler({
    router: appRouter,
    basePath: '/rpc/',
    createContext: () => ({ host: options.host }),
    allowMethodOverride: true,
    maxBodySize: options.largestCall ?? LARGEST_CALL,
  });
  const server = createServer((request, response) => {
    respond({
      request,
      response,
      keys,
      handleRpc,
      pageFolder: options.pageFolder,
      port: portOf(server),
    }).catch(() => refuse(response, 500, 'The request could not be served.'));
  });
  await listen(server, options.port ?? 0);
  const port = portOf(server);
  return {
    port,
    address: `http://127.0.0.1:${port}/#key=${keys.unusedKey ?? ''}`,
    close: () => close(server),
  };
}

interface Exchange {
  readonly request: IncomingMessage;
  readonly response: ServerResponse;
  readonly keys: PageKeys;
  readonly handleRpc: (request: IncomingMessage, response: ServerResponse) => void;
  readonly pageFolder: string;
  readonly port: number;
}

async function respond(exchange: Exchange): Promise<void> {
  const { request, response, keys, port } = exchange;
  for (const [name, value] of Object.entries(SECURITY_HEADERS)) response.setHeader(name, value);
  const own = [`127.0.0.1:${port}`, `localhost:${port}`];
  const { host, origin } = request.headers;
  // A page elsewhere can point its own name at this machine, but not change the name its browser sends.
  if (host === undefined || !own.includes(host))
    return refuse(response, 403, 'Open this page by the printed address.');
  const { pathname } = new URL(request.url ?? '/', `http://${host}`);
  if (request.method === 'POST') {
    if (origin !== undefined && origin !== `http://${host}`)
      return refuse(response, 403, 'Another page may not ask.');
    if (pathname === '/session') return exchangeKey(exchange);
    if (!pathname.startsWith('/rpc/')) return refuse(response, 404, 'There is nothing here.');
    if (!keys.isSession(sessionCookie(request, port))) return refuseCall(response);
    response.setHeader('cache-control', 'no-store');
    return exchange.handleRpc(request, response);
  }
  if (request.method !== 'GET' && request.method !== 'HEAD')
    return refuse(response, 405, 'Only GET and POST.');
  return sendPageFile(exchange, pathname);
}

async function sendPageFile({ request, response, pageFolder }: Exchange, pathname: string): Promise<void> {
  const file = await pageFile(pageFolder, pathname);
  if (file === null) return refuse(response, 404, 'There is nothing here.');
  response.writeHead(200, { 'content-type': file.type, 'cache-control': 'no-cache' });
  response.end(request.method === 'HEAD' ? undefined : file.content);
}

async function exchangeKey({ request, response, keys, port }: Exchange): Promise<void> {
  const given = await readText(request, LARGEST_KEY_BYTES);
  const session = given === null ? null : keys.exchange(given);
  if (session === null) {
    const sentence =
      'This address has been used already, or is not the printed one. Start Longhold again for a new one.';
    return refuse(response, 403, sentence);
  }
  response.setHeader('set-cookie', `${cookieName(port)}=${session}; HttpOnly; SameSite=Strict; Path=/`);
  response.setHeader('cache-control', 'no-store');
  response.writeHead(204).end();
}

/** A request's body as text; null once it is longer than allowed. */
async function readText(request: IncomingMessage, most: number): Promise<string | null> {
  const chunks: Buffer[] = [];
  let size = 0;
  for await (const chunk of request) {
    const bytes = Buffer.from(chunk);
    size += bytes.length;
    if (size > most) return null;
    chunks.push(bytes);
  }
  return Buffer.concat(chunks).toString('utf8');
}

/** Cookies are shared between ports of one machine, so the name tells which host they are for. */
function cookieName(port: number): string {
  return `longhold-${port}`;
}

function sessionCookie(request: IncomingMessage, port: number): string | undefined {
  const wanted = `${cookieName(port)}=`;
  const cookies = request.headers.cookie?.split(';').map((cookie) => cookie.trim()) ?? [];
  return cookies.find((cookie) => cookie.startsWith(wanted))?.slice(wanted.length);
}

/** Refuses a call of the router without a session, in the form in which the router itself would. */
function refuseCall(response: ServerResponse): void {
  const message =
    'This page has no key. Open the address that the terminal shows; its key works once, so start Longhold again if it was used before.';
  const data = { code: 'UNAUTHORIZED', httpStatus: 401, reason: 'no-session' satisfies FailureReason };
  response.writeHead(401, { 'content-type': 'application/json', 'cache-control': 'no-store' });
  response.end(JSON.stringify({ error: { message, code: TRPC_ERROR_CODES_BY_KEY.UNAUTHORIZED, data } }));
}

function refuse(response: ServerResponse, status: number, sentence: string): void {
  if (response.headersSent) return void response.destroy();
  response.writeHead(status, { 'content-type': 'text/plain; charset=utf-8', 'cache-control': 'no-store' });
  response.end(`${sentence}\n`);
}

function listen(server: Server, port: number): Promise<void> {
  return new Promise((resolve, reject) => {
    server.once('error', reject);
    server.listen(port, '127.0.0.1', () => resolve());
  });
}

function portOf(server: Server): number {
  const address: AddressInfo | string | null = server.address();
  return typeof address === 'object' && address !== null ? address.port : 0;
}

function close(server: Server): Promise<void> {
  return new Promise((resolve) => {
    server.close(() => resolve());
    server.closeAllConnections();
  });
}
