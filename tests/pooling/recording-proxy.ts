import { createServer, request, type IncomingMessage } from 'node:http';
import { buffer } from 'node:stream/consumers';
import { gunzipSync } from 'node:zlib';

/** Stands between a clinic and the service and writes down every byte that passes. */
export interface RecordingProxy {
  readonly address: string;
  /** Everything that clinics sent: method, address, headers and body of each request, bodies as sent and unpacked. */
  sent(): string;
  /** How many requests of a procedure have passed. */
  requests(procedure: string): number;
  /** Milliseconds before each later answer is handed back. */
  setDelay(milliseconds: number): void;
  close(): Promise<void>;
}

/** @param firstDelay milliseconds before each answer is handed back, so that a kill can fall between request and answer */
export async function recordingProxy(target: string, firstDelay = 0): Promise<RecordingProxy> {
  let delay = firstDelay;
  const passed: string[] = [];
  const urls: string[] = [];
  const server = createServer((incoming, outgoing) => {
    void pass(incoming).then(
      ({ status, headers, body }) =>
        setTimeout(() => {
          if (outgoing.destroyed) return;
          outgoing.writeHead(status, headers);
          outgoing.end(body);
        }, delay),
      () => outgoing.destroy(),
    );
  });

  async function pass(incoming: IncomingMessage) {
    const body = await buffer(incoming);
    const { method = 'POST', url = '/', rawHeaders } = incoming;
    const plain = incoming.headers['content-encoding'] === 'gzip' ? gunzipSync(body) : body;
    urls.push(url);
    passed.push(
      `${method} ${url}\n${rawHeaders.join('\n')}\n${plain.toString('utf8')}`,
      body.toString('latin1'),
    );
    return new Promise<{ status: number; headers: IncomingMessage['headers']; body: Buffer }>(
      (resolve, reject) => {
        const onward = request(`${target}${url}`, { method, headers: incoming.headers }, (answer) => {
          buffer(answer).then(
            (text) => resolve({ status: answer.statusCode ?? 502, headers: answer.headers, body: text }),
            reject,
          );
        });
        onward.on('error', reject);
        onward.end(body);
      },
    );
  }

  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const place = server.address();
  if (place === null || typeof place === 'string') throw new Error('the proxy listens on no port');
  return {
    address: `http://127.0.0.1:${place.port}`,
    sent: () => passed.join('\n'),
    requests: (procedure) => urls.filter((url) => url === `/rpc/${procedure}`).length,
    setDelay: (milliseconds) => {
      delay = milliseconds;
    },
    close: () => {
      server.closeAllConnections();
      return new Promise((resolve) => server.close(() => resolve()));
    },
  };
}
