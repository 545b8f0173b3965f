import { HostFailure } from '../failure';
import type { PoolingBook, PoolingValue } from '../store';
import { ServiceFault } from './service-client';

/** @throws HostFailure not-linked */
export function linkIn(book: PoolingBook): PoolingValue<'link'> {
  const link = book.link.get('link');
  if (link !== undefined) return link;
  throw new HostFailure(
    'not-linked',
    'This store is linked to no study. Link it with an enrolment code or a link file.',
  );
}

export function previewChanged(): HostFailure {
  return new HostFailure(
    'preview-changed',
    'What would leave has changed since it was shown. Nothing was sent; look at it again.',
  );
}

/** What the service refuses, or that it can't be reached, as a failure of the host. */
export async function asHostFailure<T>(work: () => Promise<T>): Promise<T> {
  try {
    return await work();
  } catch (thrown) {
    if (!(thrown instanceof ServiceFault)) throw thrown;
    throw new HostFailure(
      thrown.code === 'unreachable' ? 'service-unreachable' : 'service-refused',
      thrown.message,
    );
  }
}
