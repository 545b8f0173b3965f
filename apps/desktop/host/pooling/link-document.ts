import { documentOf, type PoolingDocument, type PoolingValue } from '../store';

/** The link with some of it changed. */
export function linkWith(link: PoolingValue<'link'>, parts: Partial<PoolingValue<'link'>>): PoolingDocument {
  return documentOf('link', 'link', { ...link, ...parts });
}
