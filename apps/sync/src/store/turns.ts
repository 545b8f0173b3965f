import { setImmediate } from 'node:timers/promises';

/** Lets tasks run one at a time, in the order they were asked for. A task that fails does not stop those after it. */
export class Turns {
  #last: Promise<unknown> = Promise.resolve();

  take<T>(task: () => Promise<T>): Promise<T> {
    const turn = this.#last.then(task, task);
    this.#last = turn.catch(() => undefined);
    return turn;
  }
}

/**
 * Lets the thread take up what has come in meanwhile. SQLite is asked and answers at once, in the thread that listens to
 * everyone: without it, those who are connected already are served again and again before others are let in.
 */
export function hearOthers(): Promise<void> {
  return setImmediate();
}
