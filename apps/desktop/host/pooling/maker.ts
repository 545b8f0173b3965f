import { HostFailure } from '../failure';
import type { PoolingBook } from '../store';
import type { Made, MadeOf, MakingTask, RecordsPage, StatisticsPage } from './making';
import { secretOf } from './secret-of';

/** Makes what a clinic would send from its store and records as they are now, wherever that is done. */
export type Perform = (task: MakingTask) => Promise<Made | null>;

/** Asks for what a clinic would send, or for a part of it. Null where the store contributes nothing. */
export class Maker {
  readonly #perform: Perform;

  constructor(perform: Perform) {
    this.#perform = perform;
  }

  preview() {
    return this.#ask({ kind: 'preview' }, 'preview');
  }

  records(page: RecordsPage) {
    return this.#ask({ kind: 'records', page }, 'records');
  }

  async conflicts() {
    return (await this.#ask({ kind: 'conflicts' }, 'conflicts')) ?? [];
  }

  toConfirm() {
    return this.#ask({ kind: 'to-confirm' }, 'to-confirm');
  }

  async sameAsHere() {
    return (await this.#ask({ kind: 'same-as-here' }, 'same-as-here')) ?? [];
  }

  statistics() {
    return this.#ask({ kind: 'statistics' }, 'statistics');
  }

  statisticsPreview() {
    return this.#ask({ kind: 'statistics-preview' }, 'statistics-preview');
  }

  statisticsRows(page: StatisticsPage) {
    return this.#ask({ kind: 'statistics-rows', page }, 'statistics-rows');
  }

  statisticsText(digest: string) {
    return this.#ask({ kind: 'statistics-text', digest }, 'statistics-text');
  }

  withoutWithdrawn() {
    return this.#ask({ kind: 'without-withdrawn' }, 'without-withdrawn');
  }

  async #ask<Kind extends Made['kind']>(task: MakingTask, kind: Kind): Promise<MadeOf[Kind] | null> {
    const answer = await this.#perform(task);
    if (answer === null) return null;
    if (isOf(answer, kind)) return answer.made;
    throw new HostFailure('internal', 'Another question was answered.');
  }
}

function isOf<Kind extends Made['kind']>(
  made: Made,
  kind: Kind,
): made is Made & { readonly made: MadeOf[Kind] } {
  return made.kind === kind;
}

/** The link, its secret and its role, where the store contributes to a study; else null. */
export function contributing(book: PoolingBook): { readonly secret: string } | null {
  const secret = secretOf(book);
  return secret === null || book.link.get('link')?.role !== 'centre' ? null : { secret };
}
