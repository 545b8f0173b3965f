import { Worker, type ResourceLimits, type Transferable } from 'node:worker_threads';

/** The thread ended or failed while it was asked. Its name is the kind of fault, never the words of one. */
export class ThreadFailed extends Error {
  constructor(fault: string) {
    super('A thread of the service failed.');
    this.name = fault;
  }
}

/** What a thread says to a request: its answer, or the kind of error that it met. */
export type ThreadReply<Answer> =
  { readonly kind: 'answer'; readonly answer: Answer } | { readonly kind: 'failed'; readonly fault: string };

interface Waiting<Answer> {
  readonly done: (answer: Answer) => void;
  readonly failed: (why: Error) => void;
}

/**
 * A thread that answers requests one after the other, in the order in which they were asked (`answer-requests.ts`). It
 * is started when it is first needed, and again after it was lost.
 */
export class Thread<Request, Answer> {
  readonly #file: string;
  readonly #limits: ResourceLimits;
  #worker: Worker | null = null;
  #waiting: Waiting<Answer>[] = [];

  /**
   * @param file the bundled program of the thread
   * @param limits of its memory
   */
  constructor(file: string, limits: ResourceLimits = {}) {
    this.#file = file;
    this.#limits = limits;
  }

  /** Asks, and gives away what is listed in `transfer`. @throws ThreadFailed */
  ask(request: Request, transfer: readonly Transferable[] = []): Promise<Answer> {
    const worker = this.#worker ?? this.#start();
    return new Promise<Answer>((done, failed) => {
      worker.postMessage(request, [...transfer]);
      this.#waiting.push({ done, failed });
    });
  }

  /** Ends the thread; what it was asked and has not answered fails. */
  async stop(): Promise<void> {
    const worker = this.#worker;
    this.#lost('Stopped');
    await worker?.terminate();
  }

  #start(): Worker {
    const worker = new Worker(this.#file, { resourceLimits: this.#limits });
    worker.on('message', (reply: ThreadReply<Answer>) => {
      if (this.#worker !== worker) return;
      const waiting = this.#waiting.shift();
      if (reply.kind === 'failed') waiting?.failed(new ThreadFailed(reply.fault));
      else waiting?.done(reply.answer);
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
    this.#waiting = [];
    for (const { failed } of waiting) failed(new ThreadFailed(fault));
  }
}
