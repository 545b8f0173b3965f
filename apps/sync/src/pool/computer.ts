import { Worker } from 'node:worker_threads';
import {
  centreTexts,
  estimatesText,
  poolTexts,
  readCentre,
  type CentreTexts,
  type DefinitionText,
  type PoolTexts,
} from './compute';

/** Computes what pooled answers need. One thing at a time. */
export interface PoolComputer {
  centre(records: readonly string[], sheet: string, definition: DefinitionText): Promise<CentreTexts>;
  estimates(statistics: string, definition: DefinitionText): Promise<string>;
  /** `centres` are handed over one after the other, so that not all of them are held twice. */
  pool(
    centres: AsyncIterable<{ readonly centre: string } & CentreTexts>,
    definition: DefinitionText,
  ): Promise<PoolTexts>;
  stop(): Promise<void>;
}

/** Computes in the thread of the caller. */
export const ownThread: PoolComputer = {
  centre: async (records, sheet, definition) => centreTexts(records, sheet, definition),
  estimates: async (statistics, definition) => estimatesText(statistics, definition),
  pool: async (centres, definition) => {
    const read = [];
    for await (const { centre, ...texts } of centres) read.push(readCentre(centre, texts));
    return poolTexts(read, definition);
  },
  stop: async () => undefined,
};

/** What is asked of the thread. A pool's centres come first, one by one. */
export type WorkerRequest =
  | {
      readonly kind: 'centre';
      readonly records: readonly string[];
      readonly sheet: string;
      readonly definition: DefinitionText;
    }
  | { readonly kind: 'estimates'; readonly statistics: string; readonly definition: DefinitionText }
  | { readonly kind: 'part'; readonly centre: string; readonly texts: CentreTexts }
  | { readonly kind: 'pool'; readonly definition: DefinitionText };

/** What the thread answers. */
export type WorkerReply =
  | { readonly kind: 'centre'; readonly texts: CentreTexts }
  | { readonly kind: 'estimates'; readonly text: string }
  | { readonly kind: 'part' }
  | { readonly kind: 'pool'; readonly texts: PoolTexts }
  /** `fault` is the kind of error, never its words. */
  | { readonly kind: 'failed'; readonly fault: string };

/** The thread ended or failed while it was asked. */
export class ComputationFailed extends Error {
  constructor(fault: string) {
    super('The computation of the pooled answer failed.');
    this.name = fault;
  }
}

/** Records become a great many short-lived objects: with more room for these fewer of them are moved about. */
const YOUNG = { maxYoungGenerationSizeMb: 96 };

/** Computes in a thread of its own, so that requests are answered meanwhile; started when it is first needed. */
export class ThreadComputer implements PoolComputer {
  readonly #file: string;
  #worker: Worker | null = null;
  #waiting: { readonly done: (reply: WorkerReply) => void; readonly failed: (why: Error) => void } | null =
    null;

  /** @param file the bundled `pool-worker.ts` */
  constructor(file: string) {
    this.#file = file;
  }

  async centre(records: readonly string[], sheet: string, definition: DefinitionText): Promise<CentreTexts> {
    const reply = await this.#ask({ kind: 'centre', records, sheet, definition });
    if (reply.kind !== 'centre') throw new ComputationFailed('OtherReply');
    return reply.texts;
  }

  async estimates(statistics: string, definition: DefinitionText): Promise<string> {
    const reply = await this.#ask({ kind: 'estimates', statistics, definition });
    if (reply.kind !== 'estimates') throw new ComputationFailed('OtherReply');
    return reply.text;
  }

  async pool(
    centres: AsyncIterable<{ readonly centre: string } & CentreTexts>,
    definition: DefinitionText,
  ): Promise<PoolTexts> {
    try {
      for await (const { centre, ...texts } of centres) await this.#ask({ kind: 'part', centre, texts });
      const reply = await this.#ask({ kind: 'pool', definition });
      if (reply.kind !== 'pool') throw new ComputationFailed('OtherReply');
      return reply.texts;
    } catch (thrown) {
      // The thread may hold some of the centres: the next one starts with none.
      await this.stop();
      throw thrown;
    }
  }

  async stop(): Promise<void> {
    const worker = this.#worker;
    this.#lost('Stopped');
    await worker?.terminate();
  }

  #ask(request: WorkerRequest): Promise<WorkerReply> {
    const worker = this.#worker ?? this.#start();
    return new Promise<WorkerReply>((done, failed) => {
      this.#waiting = { done, failed };
      worker.postMessage(request);
    });
  }

  #start(): Worker {
    const worker = new Worker(this.#file, { resourceLimits: YOUNG });
    worker.on('message', (reply: WorkerReply) => {
      const waiting = this.#waiting;
      this.#waiting = null;
      if (reply.kind === 'failed') waiting?.failed(new ComputationFailed(reply.fault));
      else waiting?.done(reply);
    });
    const lost = (): void => {
      if (this.#worker === worker) this.#lost('ThreadEnded');
    };
    worker.on('error', lost);
    worker.on('exit', lost);
    // A forgotten thread must not keep the service from ending.
    worker.unref();
    this.#worker = worker;
    return worker;
  }

  #lost(fault: string): void {
    this.#worker = null;
    const waiting = this.#waiting;
    this.#waiting = null;
    waiting?.failed(new ComputationFailed(fault));
  }
}
