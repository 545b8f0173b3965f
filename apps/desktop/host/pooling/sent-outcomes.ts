import type { PushAnswer } from '@longhold/core/exchange';
import type { PoolingBook } from '../store';
import { ServiceFault } from './service-client';

/** What became of the items that were sent in one exchange. */
export class SentOutcomes {
  readonly #counts: Record<PushAnswer['items'][number]['kind'], number> = {
    stored: 0,
    'already-stored': 0,
    withdrawn: 0,
    conflict: 0,
    gone: 0,
  };
  /** Pseudonyms of which the service takes nothing any more, though nobody withdrew them here. */
  readonly #goneUnasked: string[] = [];
  #statistics = false;

  /** @param book before the answer was brought in */
  note({ items }: PushAnswer, book: PoolingBook): void {
    for (const { kind, pseudonym } of items) {
      this.#counts[kind]++;
      if (kind === 'gone' && !isAskedFor(book, pseudonym)) this.#goneUnasked.push(pseudonym);
    }
  }

  /** The service has acknowledged what was said of the clinic's statistics. */
  noteStatistics(): void {
    this.#statistics = true;
  }

  /** A sentence for each thing that happened; none where nothing was sent. */
  words(): string[] {
    const { stored, withdrawn, conflict, gone } = this.#counts;
    const already = this.#counts['already-stored'];
    return [
      ...(this.#statistics ? ['The service holds the statistics of your clinic as confirmed.'] : []),
      ...said(stored, (n) => `${n} stored by the service.`),
      ...said(already, (n) => `${n} held by the service already.`),
      ...said(withdrawn, (n) => `${n} withdrawn from the pool.`),
      ...said(
        conflict,
        (n) => `${n} not taken, because another desktop of your clinic had sent another version.`,
      ),
      ...said(gone, (n) => `${n} not taken, because the service says that they were withdrawn before.`),
    ];
  }

  /**
   * Whether the service refused patients as withdrawn whom nobody withdrew here; after its changes were read again, which
   * say so where another desktop of the clinic did.
   *
   * @throws ServiceFault that says how many, and what to do
   */
  requireAsked(book: PoolingBook): void {
    if (this.#goneUnasked.length === 0) return;
    const unexplained = this.#goneUnasked.filter((pseudonym) => !isAskedFor(book, pseudonym)).length;
    const heldBack =
      'The sheet of your clinic was held back; look at what would leave now, and confirm it anew.';
    throw new ServiceFault(
      'not-allowed',
      unexplained === 0
        ? `Another desktop of your clinic withdrew patients meanwhile: ${this.#goneUnasked.length} of those that were to be sent. They are listed as withdrawn. ${heldBack}`
        : `The service says that patients of your clinic were withdrawn before, and took nothing of them: ${unexplained}. Nobody withdrew them at this desktop, so it does not take them for withdrawn. Did another desktop of your clinic withdraw them? Then withdraw them here too. If none did, ask whoever runs the service before you send again. ${heldBack}`,
    );
  }
}

/** Whether the patient was withdrawn, as far as is known here, or left because the clinic sends statistics. */
export function isAskedFor(book: PoolingBook, pseudonym: string): boolean {
  return book.withdrawal.has(pseudonym) || book.changeover.has(pseudonym);
}

function said(count: number, sentence: (count: string) => string): string[] {
  return count === 0 ? [] : [sentence(String(count))];
}

/** How many items an answer promises to be on the disk, or taken out. */
export function acknowledgedIn({ items }: PushAnswer): number {
  return items.filter(({ kind }) => kind !== 'conflict' && kind !== 'gone').length;
}
