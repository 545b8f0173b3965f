import { callRouter } from './call-router';
import { readBundle } from './bundle';
import { Host } from './host';

/**
 * The host as a process of its own beside Electron's main process, since reading the store blocks its thread.
 * Requests come as `{ id, envelope }`, answers go as `{ id, result }`; the first message sent is `{ ready: true }`.
 */
const host = new Host(readBundle(__dirname));
const port = process.parentPort;

async function start(): Promise<void> {
  if (process.argv.includes('--demo')) await host.openDemo();
  port.on('message', ({ data }) => {
    if (data?.close === true) return void finish();
    void callRouter(host, data?.envelope).then((result) => port.postMessage({ id: data?.id, result }));
  });
  port.postMessage({ ready: true });
}

async function finish(): Promise<void> {
  await host.close();
  process.exit(0);
}

start().catch(() => process.exit(1));
