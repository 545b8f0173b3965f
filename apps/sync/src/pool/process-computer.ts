import { fork, type ChildProcess } from 'node:child_process';
import type { CentreTexts, DefinitionText, PoolTexts } from './compute';
import { ComputationFailed, type ComputationFault, type PoolComputer } from './computer';

/** What is asked of the process. A pool's centres come first, one by one. */
export type ProcessRequest =
  | {
      readonly kind: 'centre';
      readonly records: readonly string[];
      readonly sheet: string;
      readonly definition: DefinitionText;
    }
  | { readonly kind: 'estimates'; readonly statistics: string; readonly definition: DefinitionText }
  | { readonly kind: 'part'; readonly centre: string; readonly texts: CentreTexts }
  | { readonly kind: 'pool'; readonly definition: DefinitionText };

/** What the process answers. */
export type ProcessReply =
  | { readonly kind: 'centre'; readonly texts: CentreTexts }
  | { readonly kind: 'estimates'; readonly text: string }
  | { readonly kind: 'part' }
  | { readonly kind: 'pool'; readonly texts: PoolTexts }
  /** `error` is the kind of error, never its words. */
  | { readonly kind: 'failed'; readonly error: string };

/** What a computation may cost. */
export interface ComputerLimits {
  /** Milliseconds for one centre. */
  readonly centre: number;
  /** Milliseconds for the pool of all of them. */
  readonly pool: number;
  /** Megabytes of memory. */
  readonly memory: number;
}

/** Records become a great many short-lived objects: with more room for these, in megabytes, fewer of them are moved about. */
const YOUNG = 32;

interface Waiting {
  readonly done: (reply: ProcessReply) => void;
  readonly failed: (why: Error) => void;
  readonly timer: NodeJS.Timeout;
}

/**
 * Computes in a process of its own, so that requests are answered meanwhile, and so that nothing that a centre sent can
 * end the service: a thread that runs out of memory, or meets what the engine takes for fatal, takes the whole program
 * along. The process is started when it is first needed, and again after it ended.
 */
export class ProcessComputer implements PoolComputer {
  readonly #file: string;
  readonly #limits: ComputerLimits;
  #process: ChildProcess | null = null;
  #waiting: Waiting | null = null;

  /** @param file the bundled `pool-process.ts` */
  constructor(file: string, limits: ComputerLimits) {
    this.#file = file;
    this.#limits = limits;
  }

  async centre(records: readonly string[], sheet: string, definition: DefinitionText): Promise<CentreTexts> {
    const reply = await this.#ask({ kind: 'centre', records, sheet, definition }, this.#limits.centre);
    if (reply.kind !== 'centre') throw new ComputationFailed('failed', 'OtherReply');
    return reply.texts;
  }

  async estimates(statistics: string, definition: DefinitionText): Promise<string> {
    const reply = await this.#ask({ kind: 'estimates', statistics, definition }, this.#limits.centre);
    if (reply.kind !== 'estimates') throw new ComputationFailed('failed', 'OtherReply');
    return reply.text;
  }

  async pool(
    centres: AsyncIterable<{ readonly centre: string } & CentreTexts>,
    definition: DefinitionText,
  ): Promise<PoolTexts> {
    try {
      for await (const { centre, ...texts } of centres)
        await this.#ask({ kind: 'part', centre, texts }, this.#limits.centre);
      const reply = await this.#ask({ kind: 'pool', definition }, this.#limits.pool);
      if (reply.kind !== 'pool') throw new ComputationFailed('failed', 'OtherReply');
      return reply.texts;
    } catch (thrown) {
      // The process may hold some of the centres: the next one starts with none.
      await this.stop();
      throw thrown;
    }
  }

  /** Ends the process; what it was asked and has not answered fails. */
  async stop(): Promise<void> {
    await this.#end('stopped');
  }

  #ask(request: ProcessRequest, limit: number): Promise<ProcessReply> {
    const child = this.#process ?? this.#start();
    return new Promise<ProcessReply>((done, failed) => {
      const timer = setTimeout(() => void this.#end('took-too-long'), limit);
      this.#waiting = { done, failed, timer };
      child.channel?.ref();
      child.send(request, (fault) => {
        if (fault !== null && this.#process === child) void this.#end('ended');
      });
    });
  }

  #start(): ChildProcess {
    const child = fork(this.#file, [], {
      serialization: 'advanced',
      execArgv: [`--max-old-space-size=${this.#limits.memory}`, `--max-semi-space-size=${YOUNG}`],
      // It needs nothing of the service's settings, the address of the database least of all.
      env: {},
      stdio: ['ignore', 'ignore', 'ignore', 'ipc'],
    });
    child.on('message', (reply: ProcessReply) => {
      if (this.#process !== child) return;
      const waiting = this.#noLongerWaiting();
      // A process that waits must not keep the service from ending.
      child.channel?.unref();
      if (reply.kind === 'failed') waiting?.failed(new ComputationFailed('failed', reply.error));
      else waiting?.done(reply);
    });
    const ended = (): void => {
      if (this.#process === child) void this.#end('ended');
    };
    child.on('error', ended);
    child.on('exit', ended);
    child.unref();
    this.#process = child;
    return child;
  }

  /** Ends the process, tells whoever waits why, and is done once it is gone. */
  async #end(fault: ComputationFault): Promise<void> {
    const child = this.#process;
    this.#process = null;
    this.#noLongerWaiting()?.failed(new ComputationFailed(fault));
    if (child === null || child.exitCode !== null || child.signalCode !== null) return;
    const gone = new Promise((resolve) => child.once('exit', resolve));
    if (child.kill('SIGKILL')) await gone;
  }

  #noLongerWaiting(): Waiting | null {
    const waiting = this.#waiting;
    this.#waiting = null;
    if (waiting !== null) clearTimeout(waiting.timer);
    return waiting;
  }
}
