/** Milliseconds until it is tried again. */
const AGAIN = 2_000;

/**
 * Takes what was deleted out of the database's own log. Where another program reads the store just then, such as a backup,
 * that cannot be done yet: it is tried again until it is.
 */
export class Forgetting {
  readonly #fold: () => Promise<boolean>;
  #timer: NodeJS.Timeout | null = null;

  /** @param fold empties the log; false where it could not be emptied yet */
  constructor(fold: () => Promise<boolean>) {
    this.#fold = fold;
  }

  /** Tries at once; where it cannot be done yet it goes on behind the caller's back. */
  async begin(): Promise<void> {
    this.stop();
    if (!(await this.#fold())) this.#later();
  }

  stop(): void {
    if (this.#timer !== null) clearTimeout(this.#timer);
    this.#timer = null;
  }

  #later(): void {
    this.#timer = setTimeout(() => void this.begin().catch(() => this.#later()), AGAIN);
    this.#timer.unref();
  }
}
