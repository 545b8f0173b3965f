import type { PoolingBook } from '../store';

/** The secret of the study that the store is linked to; null without one. */
export function secretOf(book: PoolingBook): string | null {
  const study = book.link.get('link')?.study;
  return study === undefined ? null : (book.secret.get(study)?.secret ?? null);
}
