/** Lets tasks run one at a time, in the order they were asked for. A task that fails does not stop those after it. */
export class Turns {
  #last: Promise<unknown> = Promise.resolve();

  take<T>(task: () => Promise<T>): Promise<T> {
    const turn = this.#last.then(task, task);
    this.#last = turn.catch(() => undefined);
    return turn;
  }
}
