import type { IsoDate, Study } from '@longhold/core/records';
import { HostFailure } from '../failure';
import { StoreError } from '../store';
import type { PoolingFault, PoolingProgress } from './answers';
import { linkIn } from './desk-failures';
import { RunStopped, runExchange } from './exchange-run';
import { linkWith } from './link-document';
import type { Maker } from './maker';
import type { PoolingMemory } from './pooling-memory';
import { ServiceFault } from './service-client';

/** What exchanges need of the open store. */
export interface ExchangesGiven {
  readonly memory: PoolingMemory;
  readonly maker: Maker;
  readonly study: () => Promise<Study>;
  readonly today: () => IsoDate;
  readonly now: () => Date;
}

const IDLE: PoolingProgress = { state: 'idle', step: '', acknowledged: 0, total: 0, fault: null };

/** Exchanges with the service, at most one at a time, and how the last one goes or went. */
export class Exchanges {
  readonly #given: ExchangesGiven;
  #progress: PoolingProgress = IDLE;
  #stop = new AbortController();
  /** Settles when the exchange under way has ended; never rejects. */
  #running: Promise<void> = Promise.resolve();

  constructor(given: ExchangesGiven) {
    this.#given = given;
  }

  get progress(): PoolingProgress {
    return this.#progress;
  }

  /** Starts an exchange after a preparation whose failure is the caller's; there is no way back once it is prepared. */
  async start(prepare: () => Promise<void> = async () => undefined): Promise<PoolingProgress> {
    if (this.#progress.state === 'running') {
      throw new HostFailure(
        'pooling-busy',
        'An exchange with the service is under way. Wait for it, or stop it.',
      );
    }
    const { memory } = this.#given;
    const before = this.#progress;
    this.#progress = { ...IDLE, state: 'running', step: 'Preparing' };
    this.#stop = new AbortController();
    try {
      linkIn(await memory.read());
      await prepare();
    } catch (thrown) {
      this.#progress = before;
      throw thrown;
    }
    const { outbox } = await memory.read();
    const total = [...outbox.values()].reduce((sum, { items }) => sum + items.length, 0);
    this.#progress = { ...this.#progress, total };
    this.#running = this.#exchange();
    return this.#progress;
  }

  /** Stops after the request that is under way. */
  stop(): void {
    this.#stop.abort();
  }

  /** Waits for the exchange under way, however it ends. */
  async finished(): Promise<PoolingProgress> {
    await this.#running;
    return this.#progress;
  }

  /** Ends the exchange under way and waits for it. */
  async end(): Promise<void> {
    this.#stop.abort();
    await this.#running;
  }

  /** Nothing is known of earlier exchanges any more. */
  forget(): void {
    this.#progress = IDLE;
  }

  async #exchange(): Promise<void> {
    try {
      await runExchange({
        ...this.#given,
        stop: this.#stop.signal,
        onStep: (step) => (this.#progress = { ...this.#progress, step }),
        onAcknowledged: (items) => {
          const acknowledged = this.#progress.acknowledged + items;
          const total = Math.max(this.#progress.total, acknowledged);
          this.#progress = { ...this.#progress, acknowledged, total };
        },
      });
      this.#progress = { ...this.#progress, state: 'done', step: '' };
    } catch (thrown) {
      await this.#failed(thrown);
    }
  }

  async #failed(thrown: unknown): Promise<void> {
    if (thrown instanceof RunStopped || this.#stop.signal.aborted) {
      this.#progress = { ...this.#progress, state: 'stopped', step: '' };
      return;
    }
    const fault = faultOf(thrown, this.#given.now().toISOString());
    this.#progress = { ...this.#progress, state: 'failed', step: '', fault };
    await this.#given.memory
      .change((book) => {
        const link = book.link.get('link');
        if (link === undefined) return null;
        const note = { action: 'pooling-fault', patient: null, after: { code: fault.code } } as const;
        return { put: [linkWith(link, { fault })], remove: [], note };
      })
      .catch(() => undefined);
  }
}

/** What the screens are told of a failed exchange. Faults of the store keep their sentence; of the rest a fixed one. */
function faultOf(thrown: unknown, at: string): PoolingFault {
  if (thrown instanceof ServiceFault) return { at, code: thrown.code, message: thrown.message };
  const message =
    thrown instanceof StoreError || thrown instanceof HostFailure
      ? thrown.message
      : 'The exchange ended by a fault of Longhold’s own. Nothing is lost; what waits is sent at the next occasion.';
  return { at, code: 'unavailable', message };
}
