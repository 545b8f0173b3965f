import { sameContribution, type StudyDefinition } from '@longhold/core/contribution';
import { canonicalJson } from '@longhold/core/exchange';
import { documentOf, type PoolingBook, type PoolingDocument, type PoolingKey } from '../store';

/*
 * After the service's store was restored a number may name another study definition than before. What was known by
 * number is kept under a key of its own, to be compared with what the service then has under that number.
 */

const FORMER = 'former-';

/** Sets all known definitions aside as those of before a restore. */
export function setAside(book: PoolingBook): {
  readonly put: PoolingDocument[];
  readonly remove: PoolingKey[];
} {
  const known = [...book.definition].filter(([key]) => !key.startsWith(FORMER));
  return {
    put: known.map(([key, definition]) => documentOf('definition', `${FORMER}${key}`, definition)),
    remove: known.map(([key]) => ({ kind: 'definition', key })),
  };
}

/** The definition that a number named when something was made under it; null where that is not known any more. */
export function definitionMeant(book: PoolingBook, version: number): StudyDefinition | null {
  return book.definition.get(`${FORMER}${version}`) ?? book.definition.get(String(version)) ?? null;
}

/** Whether what was made under a number was made under this very definition. */
export function isSameDefinition(
  book: PoolingBook,
  madeUnder: number,
  { version, definition }: { readonly version: number; readonly definition: StudyDefinition },
): boolean {
  if (madeUnder !== version) return false;
  const meant = definitionMeant(book, madeUnder);
  return meant === null ? !isAfterRestore(book) : canonicalJson(meant) === canonicalJson(definition);
}

/** Whether a record made under a number leaves the same under this definition. */
export function isAlike(book: PoolingBook, madeUnder: number, definition: StudyDefinition): boolean {
  const meant = definitionMeant(book, madeUnder);
  return meant !== null && sameContribution(meant, definition);
}

/** Whether definitions of before a restore are still set aside. */
export function isAfterRestore(book: PoolingBook): boolean {
  return formerKeys(book).length > 0;
}

/** What was set aside, to be removed once all that was made under it is settled. */
export function formerKeys(book: PoolingBook): PoolingKey[] {
  return [...book.definition.keys()].flatMap((key): PoolingKey[] =>
    key.startsWith(FORMER) ? [{ kind: 'definition', key }] : [],
  );
}
