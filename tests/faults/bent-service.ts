import { createServer } from 'node:http';
import { buffer } from 'node:stream/consumers';
import { EPOCH_HEADER, PROTOCOL_HEADER } from '@longhold/core/exchange';
import { replyOf, type TestService } from '../../apps/sync/src/service.fixture';

/** What a bad service says in place of the good one's answer: data in the protocol's frame, or bytes as they are. */
export type Bent = { readonly data: unknown } | { readonly raw: Iterable<string> };

/** Something on the loopback that passes questions on to a service and may answer otherwise. */
export interface BentService {
  readonly address: string;
  /** Asks what to say in place of an answer; null leaves it. Nothing is bent where there is no such function. */
  bend: ((name: string, data: Record<string, unknown>, asked: unknown) => Bent | null) | null;
  /** The service behind it. */
  behind: TestService;
  /** Names of what was asked, in order. */
  readonly asked: string[];
  close(): void;
}

const PASSED_ON = [
  'content-type',
  'content-encoding',
  'authorization',
  PROTOCOL_HEADER,
  EPOCH_HEADER,
] as const;

/** Starts it, with nothing bent. */
export async function bentService(behind: TestService): Promise<BentService> {
  const server = createServer((request, response) => {
    void (async () => {
      const payload = await buffer(request);
      const name = (request.url ?? '').slice('/rpc/'.length);
      bent.asked.push(name);
      const headers = Object.fromEntries(
        PASSED_ON.flatMap((header) => {
          const value = request.headers[header];
          return typeof value === 'string' ? [[header, value]] : [];
        }),
      );
      const reply = await bent.behind.server.inject({
        method: 'POST',
        url: `/rpc/${name}`,
        headers,
        payload,
      });
      const { data, reason } = replyOf(reply.statusCode, reply.body);
      const said = reason === null ? (bent.bend?.(name, data, payload) ?? null) : null;
      if (said === null) return response.writeHead(reply.statusCode).end(reply.body);
      response.writeHead(200, { 'content-type': 'application/json' });
      if ('data' in said) return response.end(JSON.stringify({ result: { data: said.data } }));
      for (const part of said.raw) response.write(part);
      return response.end();
    })();
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const place = server.address();
  const bent: BentService = {
    address: `http://127.0.0.1:${typeof place === 'object' ? place?.port : ''}`,
    bend: null,
    behind,
    asked: [],
    close: () => {
      server.closeAllConnections();
      server.close();
    },
  };
  return bent;
}
