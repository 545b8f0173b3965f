import type { TableView } from '@longhold/ui';
import { changeQuery } from './address';

/** How a list's sorting and page stand in the address; what is as at first is left out. */
export function readView(query: URLSearchParams, first: Pick<TableView, 'sort' | 'descending'>): TableView {
  const sort = query.get('sort') ?? first.sort;
  const order = query.get('order');
  const page = Number(query.get('page') ?? '1');
  return {
    sort,
    descending: order === null ? sort === first.sort && first.descending : order === 'down',
    page: Number.isInteger(page) && page > 0 ? page : 1,
  };
}

/** Write a list's sorting and page into a query. */
export function writeView(query: URLSearchParams, view: TableView): URLSearchParams {
  return changeQuery(query, {
    sort: view.sort,
    order: view.descending ? 'down' : 'up',
    page: view.page === 1 ? null : String(view.page),
  });
}

/** Change a filter of a list, which starts again at page 1. */
export function filterList(
  query: URLSearchParams,
  changes: Readonly<Record<string, string | null>>,
): URLSearchParams {
  return changeQuery(query, { ...changes, page: null });
}
