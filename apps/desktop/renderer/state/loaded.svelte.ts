import { failureOf, type Failure } from './failure';

/** Something fetched from the host. The last value stays while a newer one is fetched. */
export class Loaded<T> {
  #value = $state.raw<T | null>(null);
  #failure = $state.raw<Failure | null>(null);
  #loading = $state(false);
  #turn = 0;

  get value(): T | null {
    return this.#value;
  }

  get failure(): Failure | null {
    return this.#failure;
  }

  get loading(): boolean {
    return this.#loading;
  }

  /** Fetch; an answer that was overtaken by a later call is dropped. */
  async load(fetch: () => Promise<T>): Promise<void> {
    const turn = (this.#turn += 1);
    this.#loading = true;
    this.#failure = null;
    try {
      const value = await fetch();
      if (turn === this.#turn) this.#value = value;
    } catch (error) {
      if (turn === this.#turn) this.#failure = failureOf(error);
    } finally {
      if (turn === this.#turn) this.#loading = false;
    }
  }

  /** Forget what was fetched, and whatever is still on its way. */
  clear(): void {
    this.#turn += 1;
    this.#value = null;
    this.#failure = null;
    this.#loading = false;
  }
}
