import { spawn, type ChildProcess } from 'node:child_process';
import { createServer } from 'node:net';
import { join } from 'node:path';

const SERVICE = join(process.cwd(), 'apps', 'sync', 'dist', 'sync.mjs');

/** The pooling service as a process of its own. */
export interface ServiceProcess {
  readonly process: ChildProcess;
  /** The coordinator's enrolment code, where this start printed one. */
  readonly code: string | null;
  /** Ends it at once, as `kill -9` does, and waits until it is gone. */
  kill(): Promise<void>;
}

export interface ServiceSettings {
  readonly port: number;
  /** LONGHOLD_SYNC_STORE or DATABASE_URL, and what else is to be set. */
  readonly environment: Readonly<Record<string, string>>;
  /** Largest file the process may write, in blocks of 512 bytes. */
  readonly fileSizeLimit?: number;
}

/** A port of the loopback that nobody uses now. */
export async function freePort(): Promise<number> {
  const server = createServer();
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const address = server.address();
  await new Promise((resolve) => server.close(resolve));
  if (address === null || typeof address === 'string') throw new Error('no port was found');
  return address.port;
}

/** Starts the service without waiting for it. */
export function spawnService(
  { port, environment, fileSizeLimit }: ServiceSettings,
  words: readonly string[] = [],
): ChildProcess {
  const limit = fileSizeLimit === undefined ? '' : `ulimit -f ${fileSizeLimit}; `;
  return spawn('/bin/sh', ['-c', `${limit}exec "$0" "$@"`, process.execPath, SERVICE, ...words], {
    env: {
      PATH: process.env['PATH'],
      LONGHOLD_SYNC_PORT: String(port),
      LONGHOLD_SYNC_REQUESTS_A_MINUTE: '10000000',
      ...environment,
    },
    stdio: ['ignore', 'pipe', 'pipe'],
  });
}

/** Starts the service and waits until it listens. */
export async function startService(settings: ServiceSettings): Promise<ServiceProcess> {
  const child = spawnService(settings);
  const gone = new Promise<void>((resolve) => child.on('close', () => resolve()));
  const said = await new Promise<string>((resolve, reject) => {
    let output = '';
    let errors = '';
    child.stderr?.setEncoding('utf8').on('data', (text: string) => (errors += text));
    child.stdout?.setEncoding('utf8').on('data', (text: string) => {
      output += text;
      if (output.includes('Listening on')) resolve(output);
    });
    child.on('close', () => reject(new Error(`the service ended: ${output} ${errors}`)));
  });
  return {
    process: child,
    code: /: ([2-9A-Z-]{27})$/m.exec(said)?.[1] ?? null,
    kill: async () => {
      child.kill('SIGKILL');
      await gone;
    },
  };
}

/** Runs a command of the service and returns its exit code and words. */
export async function runServiceCommand(
  environment: ServiceSettings['environment'],
  words: readonly string[],
): Promise<{ readonly exitCode: number | null; readonly output: string }> {
  const child = spawnService({ port: 0, environment }, words);
  let output = '';
  for (const stream of [child.stdout, child.stderr]) {
    stream?.setEncoding('utf8').on('data', (text: string) => (output += text));
  }
  return new Promise((resolve) => {
    child.on('close', (exitCode) => resolve({ exitCode, output }));
  });
}

/** What is stored only by who knows the service's epoch. */
const NEEDS_EPOCH: ReadonlySet<string> = new Set(['push', 'sheet', 'statistics']);

/** Asks a procedure over loopback and returns what it answers. @throws Error with the refusal's code. */
export async function askService(
  port: number,
  name: string,
  input: unknown,
  token: string | null = null,
): Promise<Record<string, unknown>> {
  const epoch = NEEDS_EPOCH.has(name) ? (await askService(port, 'session', {}, token))['epoch'] : null;
  const reply = await fetch(`http://127.0.0.1:${port}/rpc/${name}`, {
    method: 'POST',
    headers: {
      'content-type': 'application/json',
      'longhold-protocol': '1',
      ...(typeof epoch === 'string' ? { 'longhold-epoch': epoch } : {}),
      ...(token === null ? {} : { authorization: `Bearer ${token}` }),
    },
    body: JSON.stringify(input),
  });
  const content = await reply.json();
  if (reply.status !== 200) throw new Error(`${name} was refused: ${content.error.data.reason}`);
  return content.result.data;
}

/** Enrols the coordinator, publishes a definition and enrols a clinic; returns the clinic's token and member. */
export async function enrolClinic(
  port: number,
  code: string | null,
  definition: unknown,
): Promise<{ readonly token: string; readonly member: string }> {
  const coordinator = String((await askService(port, 'enrol', { code }))['token']);
  await askService(port, 'publish', { basedOn: 0, definition }, coordinator);
  const invited = await askService(port, 'invite', { role: 'centre', member: null }, coordinator);
  const { token, member } = await askService(port, 'enrol', { code: invited['code'] });
  return { token: String(token), member: String(member) };
}
