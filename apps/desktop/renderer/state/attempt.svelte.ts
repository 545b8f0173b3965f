import { failureOf, type Failure } from './failure';

/** Something the user asked the host to do: whether it is under way, and why it failed. */
export class Attempt {
  #busy = $state(false);
  #failure = $state.raw<Failure | null>(null);

  get busy(): boolean {
    return this.#busy;
  }

  get failure(): Failure | null {
    return this.#failure;
  }

  /** Do it; true when it succeeded. What went wrong is kept in `failure` until the next attempt. */
  async run(deed: () => Promise<void>): Promise<boolean> {
    this.#busy = true;
    this.#failure = null;
    try {
      await deed();
      return true;
    } catch (error) {
      this.#failure = failureOf(error);
      return false;
    } finally {
      this.#busy = false;
    }
  }

  /** Forget an earlier failure. */
  clear(): void {
    this.#failure = null;
  }
}
