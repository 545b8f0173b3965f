import type { IsoDate, Study } from '@longhold/core/records';
import type { PoolingBook } from '../store';
import type { MakingProgress } from './answers';
import { contributing, Maker } from './maker';
import { Making, nothingMade, type Following, type Made, type MakingTask } from './making';
import type { PoolingMemory } from './pooling-memory';

/** One state of a store's pooling, as it is looked at on one day. */
export interface MakingState {
  /** Names exactly this state; what was made of it is good for the same name only. */
  readonly key: string;
  readonly book: PoolingBook;
  readonly secret: string;
  readonly today: IsoDate;
  /** Version of the program. */
  readonly software: string;
}

/** A thread beside the host's own that makes what would leave, so that the host answers others meanwhile. */
export interface PoolingThread {
  /** Version of the program. */
  readonly software: string;
  make(state: MakingState, task: MakingTask, follow: Following): Promise<Made>;
  /** Ends what is being made; those who wait are told so. */
  stop(): Promise<void>;
}

/** Of what is made without a program around it. */
const NO_SOFTWARE = '0.0.0';
const AT_REST: MakingProgress = { running: false, step: '', fraction: 0 };

/** Where what would leave is made, and how far that is. */
export class MakingPlace {
  readonly maker: Maker;
  #progress: MakingProgress = AT_REST;
  #tasks = 0;
  readonly #thread: PoolingThread | null;
  readonly #before = nothingMade();
  #made: { readonly key: string; readonly study: Study; readonly making: Making } | null = null;

  constructor(given: {
    readonly memory: PoolingMemory;
    readonly study: () => Promise<Study>;
    readonly today: () => IsoDate;
    readonly thread: PoolingThread | null;
  }) {
    this.#thread = given.thread;
    this.maker = new Maker(async (task) => {
      const { revision, book } = await given.memory.readWithRevision();
      const known = contributing(book);
      if (known === null) return null;
      const today = given.today();
      const software = this.#thread?.software ?? NO_SOFTWARE;
      const state = { key: `${revision} ${today}`, book, secret: known.secret, today, software };
      return this.#followed((follow) =>
        this.#thread === null
          ? this.#here(state, task, given.study, follow)
          : this.#thread.make(state, task, follow),
      );
    });
  }

  get progress(): MakingProgress {
    return this.#progress;
  }

  async stop(): Promise<void> {
    if (this.#tasks > 0) await this.#thread?.stop();
  }

  async #followed(work: (follow: Following) => Promise<Made>): Promise<Made> {
    this.#tasks++;
    try {
      return await work((fraction, step) => (this.#progress = { running: true, step, fraction }));
    } finally {
      this.#tasks--;
      if (this.#tasks === 0) this.#progress = AT_REST;
    }
  }

  /** Made once for each state. */
  async #here(
    { key, ...state }: MakingState,
    task: MakingTask,
    readStudy: () => Promise<Study>,
    follow: Following,
  ): Promise<Made> {
    const study = await readStudy();
    const known = this.#made?.key === key && this.#made.study === study ? this.#made.making : null;
    const making = known ?? new Making({ study, ...state }, this.#before);
    this.#made = { key, study, making };
    return making.do(task, follow);
  }
}
