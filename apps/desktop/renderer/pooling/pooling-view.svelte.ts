import { failureOf, type Failure } from '../state/failure';
import { Attempt } from '../state/attempt.svelte';
import type {
  MakingProgress,
  PoolingConflict,
  PoolingPreview,
  PoolingProgress,
  PoolingState,
  StatisticsPreview,
  Withdrawal,
} from '../state/host';
import { Loaded } from '../state/loaded.svelte';

/** The host's calls that the whole screen shares. */
export interface PoolingCalls {
  readonly state: () => Promise<PoolingState>;
  readonly preview: () => Promise<PoolingPreview | null>;
  readonly statistics: () => Promise<StatisticsPreview | null>;
  /** How far the making of what would leave is. */
  readonly making: () => Promise<MakingProgress>;
  readonly stopMaking: () => Promise<unknown>;
  readonly conflicts: () => Promise<readonly PoolingConflict[]>;
  readonly withdrawals: () => Promise<readonly Withdrawal[]>;
  readonly progress: () => Promise<PoolingProgress>;
  readonly stop: () => Promise<unknown>;
}

const POLL_MILLISECONDS = 400;

/**
 * What the Pooling screen knows: the link, what would leave, and the exchange with the service that is under way. After
 * each exchange all of it is read again.
 */
export class PoolingView {
  readonly state = new Loaded<PoolingState>();
  readonly preview = new Loaded<PoolingPreview | null>();
  readonly statistics = new Loaded<StatisticsPreview | null>();
  readonly conflicts = new Loaded<readonly PoolingConflict[]>();
  readonly withdrawals = new Loaded<readonly Withdrawal[]>();
  /** What the user last asked for, up to where the host took it on. */
  readonly asked = new Attempt();
  #calls: PoolingCalls;
  #wait: (milliseconds: number) => Promise<void>;
  #progress = $state.raw<PoolingProgress | null>(null);
  #making = $state.raw<MakingProgress | null>(null);
  #lost = $state.raw<Failure | null>(null);
  #readings = $state(0);
  #following = false;
  #closed = false;

  constructor(calls: PoolingCalls, wait = waitFor) {
    this.#calls = calls;
    this.#wait = wait;
  }

  /** How the last exchange goes or went; null before the first. */
  get progress(): PoolingProgress | null {
    return this.#progress;
  }

  get running(): boolean {
    return this.#progress?.state === 'running';
  }

  /** How far the making of what would leave is; null while nothing is made. */
  get making(): MakingProgress | null {
    return this.#making;
  }

  /** Why the exchange could not be followed to its end. */
  get lost(): Failure | null {
    return this.#lost;
  }

  /** Counts how often everything was read; whatever lists hang on it are read again with it. */
  get readings(): number {
    return this.#readings;
  }

  /** Read everything, and follow an exchange that is already under way. */
  async open(): Promise<void> {
    await this.read();
    if (this.state.value?.running === true) await this.#follow();
  }

  /** Read everything that this member has. */
  async read(): Promise<void> {
    await this.state.load(this.#calls.state);
    const state = this.state.value;
    const isCentre = state?.link?.role === 'centre';
    const sends = isCentre ? state.sends : null;
    const made = Promise.all([
      sends === 'records' ? this.preview.load(this.#calls.preview) : this.preview.clear(),
      sends === 'records' ? this.conflicts.load(this.#calls.conflicts) : this.conflicts.clear(),
      sends === 'statistics' ? this.statistics.load(this.#calls.statistics) : this.statistics.clear(),
    ]);
    const withdrawals = isCentre ? this.withdrawals.load(this.#calls.withdrawals) : this.withdrawals.clear();
    if (sends !== null) await this.#followMaking(made);
    await Promise.all([made, withdrawals]);
    this.#readings += 1;
  }

  /** Ask the host to stop making what would leave. */
  async stopMaking(): Promise<void> {
    await this.asked.run(async () => {
      await this.#calls.stopMaking();
    });
  }

  /** Tells how far the making is until it has ended. Without an answer the screen only lacks the bar. */
  async #followMaking(made: Promise<unknown>): Promise<void> {
    let isMade = false;
    void made.then(() => (isMade = true));
    const ended = made.then(() => undefined);
    for (;;) {
      await Promise.race([ended, this.#wait(POLL_MILLISECONDS)]);
      if (isMade || this.#closed) break;
      this.#making = await this.#calls.making().catch(() => null);
    }
    this.#making = null;
  }

  /** Ask for an exchange and follow it to its end; false where the host did not take it on. */
  async exchange(start: () => Promise<PoolingProgress>): Promise<boolean> {
    const taken = await this.asked.run(async () => {
      this.#progress = await start();
    });
    if (taken) await this.#follow();
    return taken;
  }

  /** Ask the host to stop after the request that is under way. */
  async stop(): Promise<void> {
    await this.asked.run(async () => {
      await this.#calls.stop();
    });
  }

  /** The screen is gone: nothing is asked any more. The exchange itself goes on. */
  close(): void {
    this.#closed = true;
  }

  async #follow(): Promise<void> {
    if (this.#following) return;
    this.#following = true;
    this.#lost = null;
    try {
      do {
        this.#progress = await this.#calls.progress();
        if (this.running) await this.#wait(POLL_MILLISECONDS);
      } while (this.running && !this.#closed);
    } catch (error) {
      this.#lost = failureOf(error);
      this.#progress = null;
    } finally {
      this.#following = false;
    }
    if (!this.#closed) await this.read();
  }
}

function waitFor(milliseconds: number): Promise<void> {
  return new Promise((resolve) => setTimeout(resolve, milliseconds));
}
