import { spawn, type ChildProcess } from 'node:child_process';
import { ROOT } from './on-this-machine';

/** A program of ours that runs beside the test. */
export interface StartedProgram {
  /** Waits for a piece of its output; fails when it does not come in time or the program ends before. */
  says(pattern: RegExp): Promise<RegExpExecArray>;
  /** All it has written so far, output and errors. */
  output(): string;
  /** Waits until it ends by itself; what does not end in time is killed, and the signal shows it. */
  ended(): Promise<Ending>;
  /** Sends a signal and waits for the end. */
  end(signal: NodeJS.Signals): Promise<Ending>;
}

export interface Ending {
  readonly code: number | null;
  readonly signal: string | null;
  /** From when it was asked to end. */
  readonly milliseconds: number;
}

const SPEAK_MILLISECONDS = 60_000;
const END_MILLISECONDS = 10_000;

/** Starts `node` with the words given, in the project's folder. */
export function startNode(words: readonly string[], env: NodeJS.ProcessEnv): StartedProgram {
  const child = spawn(process.execPath, words, { cwd: ROOT, env, stdio: ['ignore', 'pipe', 'pipe'] });
  let written = '';
  const listeners = new Set<() => void>();
  const tell = (): void => listeners.forEach((listener) => listener());
  for (const stream of [child.stdout, child.stderr]) {
    stream.on('data', (chunk) => {
      written += String(chunk);
      tell();
    });
  }
  child.on('exit', tell);
  return {
    output: () => written,
    says: (pattern) =>
      new Promise((resolve, reject) => {
        const stop = (): void => {
          clearTimeout(late);
          listeners.delete(look);
        };
        const fail = (what: string): void => {
          stop();
          reject(new Error(`${what} before it said ${String(pattern)}:\n${written}`));
        };
        const look = (): void => {
          const found = pattern.exec(written);
          if (found !== null) {
            stop();
            resolve(found);
          } else if (hasEnded(child)) fail('the program ended');
        };
        const late = setTimeout(() => {
          child.kill('SIGKILL');
          fail('time was up');
        }, SPEAK_MILLISECONDS);
        listeners.add(look);
        look();
      }),
    ended: () => ended(child),
    end: (signal) => {
      child.kill(signal);
      return ended(child);
    },
  };
}

async function ended(child: ChildProcess): Promise<Ending> {
  const asked = performance.now();
  if (!hasEnded(child)) {
    const end = new Promise((resolve) => child.once('exit', resolve));
    const late = setTimeout(() => child.kill('SIGKILL'), END_MILLISECONDS);
    await end;
    clearTimeout(late);
  }
  return { code: child.exitCode, signal: child.signalCode, milliseconds: performance.now() - asked };
}

function hasEnded({ exitCode, signalCode }: ChildProcess): boolean {
  return exitCode !== null || signalCode !== null;
}
