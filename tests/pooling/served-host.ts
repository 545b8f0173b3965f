import { spawn } from 'node:child_process';
import { LONGHOLD, PASSPHRASE } from './programs';

/** `longhold serve` on a store, asked as its page asks it. */
export interface ServedHost {
  /** Asks a procedure of the host. @throws Error with the host's sentence */
  ask(procedure: string, input?: unknown): Promise<Record<string, unknown>>;
  /** Ends it at once, as `kill -9` does, and waits until it is gone. */
  kill(): Promise<void>;
}

/** Starts serving a store and signs in with the key that it prints. */
export async function serveStore(store: string): Promise<ServedHost> {
  const child = spawn(process.execPath, [LONGHOLD, 'serve', '--store', store], {
    env: { ...process.env, LONGHOLD_PASSPHRASE: PASSPHRASE },
    stdio: ['ignore', 'pipe', 'ignore'],
  });
  const gone = new Promise<void>((resolve) => child.on('close', () => resolve()));
  const printed = await new Promise<string>((resolve, reject) => {
    child.stdout.setEncoding('utf8').once('data', (text: string) => resolve(text.trim()));
    void gone.then(() => reject(new Error('the host ended before it served')));
  });
  const address = new URL(printed);
  const signedIn = await fetch(`${address.origin}/session`, {
    method: 'POST',
    body: address.hash.replace('#key=', ''),
  });
  const cookie = signedIn.headers.get('set-cookie')?.split(';')[0] ?? '';
  return {
    ask: async (procedure, input) => {
      const reply = await fetch(`${address.origin}/rpc/${procedure}`, {
        method: 'POST',
        headers: { 'content-type': 'application/json', cookie },
        ...(input === undefined ? {} : { body: JSON.stringify(input) }),
      });
      const content = await reply.json();
      if (reply.status !== 200) throw new Error(`${procedure} was refused: ${content.error.message}`);
      return content.result.data;
    },
    kill: async () => {
      child.kill('SIGKILL');
      await gone;
    },
  };
}
