import { utilityProcess, type UtilityProcess } from 'electron';
import type { ResultEnvelope } from '../host/envelope';

/** The host's process, as the window's shell sees it. */
export interface HostProcess {
  readonly call: (envelope: unknown) => Promise<ResultEnvelope>;
  /** Lets the host close its store; kills it when that takes longer than it may. */
  readonly close: () => Promise<void>;
}

const CLOSE_MILLISECONDS = 3_000;

const LOST: ResultEnvelope = {
  ok: false,
  error: {
    reason: 'internal',
    message: 'Longhold’s own server has ended. Close the program and start it again.',
  },
};

/** Starts the host beside this process and waits until it is ready. */
export async function startHostProcess(
  file: string,
  options: { readonly demo: boolean },
): Promise<HostProcess> {
  const child = utilityProcess.fork(file, options.demo ? ['--demo'] : [], { serviceName: 'Longhold host' });
  const waiting = new Map<number, (result: ResultEnvelope) => void>();
  let nextId = 1;
  let running = true;

  const ended = new Promise<void>((resolve) => {
    child.once('exit', () => {
      running = false;
      for (const answer of waiting.values()) answer(LOST);
      waiting.clear();
      resolve();
    });
  });
  const ready = new Promise<void>((resolve) => {
    child.on('message', (message: { ready?: true; id?: number; result?: ResultEnvelope }) => {
      if (message.ready === true) return resolve();
      if (message.id === undefined || message.result === undefined) return;
      waiting.get(message.id)?.(message.result);
      waiting.delete(message.id);
    });
  });
  await Promise.race([ready, ended]);
  if (!running) throw new Error('the host ended before it was ready');

  return {
    call: (envelope) =>
      new Promise((resolve) => {
        if (!running) return resolve(LOST);
        const id = nextId++;
        waiting.set(id, resolve);
        child.postMessage({ id, envelope });
      }),
    close: () => closeChild(child, ended),
  };
}

async function closeChild(child: UtilityProcess, ended: Promise<void>): Promise<void> {
  child.postMessage({ close: true });
  const late = setTimeout(() => child.kill(), CLOSE_MILLISECONDS);
  await ended;
  clearTimeout(late);
}
