import {
  StoreError,
  takeDocument,
  type Authorship,
  type PoolingBook,
  type PoolingBookDraft,
  type PoolingChange,
  type PoolingDocument,
  type PoolingKey,
  type Store,
} from '../store';

/** What is to be changed; null where nothing is. */
export type Wanted = Omit<PoolingChange, 'basedOn'> | null;

/** How often a change is tried again because something else in the store changed meanwhile. */
const TRIES = 20;

/**
 * What a store keeps of pooling, in memory, as long as nobody else changes the store. Every change is made from what the
 * store holds at that moment and written before the next step relies on it.
 */
export class PoolingMemory {
  readonly #store: Store;
  readonly #authorship: () => Authorship;
  /** Told of revisions that left the patients' records as they were. */
  readonly #recordsKept: (from: number, to: number) => void;
  #known: { revision: number; book: PoolingBookDraft } | null = null;

  constructor(store: Store, authorship: () => Authorship, recordsKept: (from: number, to: number) => void) {
    this.#store = store;
    this.#authorship = authorship;
    this.#recordsKept = recordsKept;
  }

  async read(): Promise<PoolingBook> {
    return (await this.#latest()).book;
  }

  /** The same with the store's revision, which names exactly this state of it. */
  readWithRevision(): Promise<{ readonly revision: number; readonly book: PoolingBook }> {
    return this.#latest();
  }

  /**
   * Makes a change from what there is and writes it; made anew where the store was changed in between.
   * @returns what there is afterwards
   */
  async change(make: (book: PoolingBook) => Wanted): Promise<PoolingBook> {
    for (let tries = 1; ; tries++) {
      const { revision, book } = await this.#latest();
      const wanted = make(book);
      if (wanted === null) return book;
      try {
        const next = await this.#store.changePooling({ basedOn: revision, ...wanted }, this.#authorship());
        this.#recordsKept(revision, next);
        apply(book, wanted.remove, wanted.put);
        this.#known = { revision: next, book };
        return book;
      } catch (thrown) {
        this.#known = null;
        if (!(thrown instanceof StoreError) || thrown.code !== 'store-changed' || tries === TRIES)
          throw thrown;
      }
    }
  }

  async #latest(): Promise<{ revision: number; book: PoolingBookDraft }> {
    const revision = await this.#store.latestRevision();
    if (this.#known?.revision === revision) return this.#known;
    const read = await this.#store.readPooling();
    this.#known = read;
    return read;
  }
}

function apply(book: PoolingBookDraft, remove: readonly PoolingKey[], put: readonly PoolingDocument[]): void {
  for (const { kind, key } of remove) book[kind].delete(key);
  for (const { kind, key, value } of put) takeDocument(book, kind, key, value);
}
