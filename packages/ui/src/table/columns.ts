/** What one column of a table shows and how it sorts. */
export interface Column<Row> {
  readonly key: string;
  readonly label: string;
  /** The cell in words; also what a CSV export writes. */
  readonly text: (row: Row) => string;
  /** What the column is sorted by; left out, its text. Null sorts last in both directions. */
  readonly order?: (row: Row) => string | number | null;
  /** Numbers stand flush right, so that their digits line up. */
  readonly numeric?: boolean;
  /** Short values such as dates, kept on one line; numbers always are. */
  readonly unbroken?: boolean;
  /** Whether its heading sorts the table; yes unless said otherwise. */
  readonly sortable?: boolean;
  /** Whether its cell names the row for screen readers. */
  readonly heading?: boolean;
}

/** How a table is sorted and which page of it is shown, counted from 1. */
export interface TableView {
  readonly sort: string;
  readonly descending: boolean;
  readonly page: number;
}

/** Rows sorted by one column. Missing values come last either way; equal rows keep their order. */
export function sortRows<Row>(
  rows: readonly Row[],
  columns: readonly Column<Row>[],
  view: Pick<TableView, 'sort' | 'descending'>,
): readonly Row[] {
  const column = columns.find(({ key }) => key === view.sort);
  if (column === undefined) return rows;
  const order = column.order ?? column.text;
  const sign = view.descending ? -1 : 1;
  return rows
    .map((row) => ({ row, at: order(row) }))
    .sort((a, b) => compareKeys(a.at, b.at, sign))
    .map(({ row }) => row);
}

function compareKeys(a: string | number | null, b: string | number | null, sign: 1 | -1): number {
  if (a === null || b === null) return (a === null ? 1 : 0) - (b === null ? 1 : 0);
  if (typeof a === 'number' && typeof b === 'number') return sign * (a - b);
  return sign * compareCodes(String(a), String(b));
}

/** Codes with numbers in them sort as people count: P-2 before P-10. */
const codeOrder = new Intl.Collator('en', { numeric: true });
function compareCodes(a: string, b: string): number {
  return codeOrder.compare(a, b);
}

/** How many pages a number of rows fills; one when there are none. */
export function pageCount(rows: number, pageSize: number): number {
  return Math.max(1, Math.ceil(rows / pageSize));
}

/** The rows of one page; a page beyond the end shows the last one. */
export function pageOf<Row>(rows: readonly Row[], page: number, pageSize: number): readonly Row[] {
  const shown = Math.min(Math.max(1, page), pageCount(rows.length, pageSize));
  return rows.slice((shown - 1) * pageSize, shown * pageSize);
}

/** The view after a heading was pressed: the same column turns round, another starts rising on page 1. */
export function pressHeading(view: TableView, key: string): TableView {
  return { sort: key, descending: view.sort === key ? !view.descending : false, page: 1 };
}

/** Up to this many characters a number with its unit and count is not broken over lines. */
const SHORT_NUMBER = 14;

/** A cell as it is shown: a number is never parted from its unit, a short one not broken at all. */
export function shownText(text: string, numeric: boolean): string {
  if (numeric && text.length <= SHORT_NUMBER) return text.replaceAll(' ', '\u00a0');
  return text.replace(/(\d) (mm|years?)\b/g, '$1\u00a0$2');
}
