/** Rows in one state or status (all when null) whose code or protocol holds the text. */
export function filterRows<Row extends { readonly code: string; readonly protocol: string | null }>(
  rows: readonly Row[],
  stateOf: (row: Row) => string,
  only: string | null,
  text: string,
): readonly Row[] {
  const wanted = text.trim().toLowerCase();
  return rows.filter(
    (row) =>
      (only === null || stateOf(row) === only) &&
      (wanted === '' || `${row.code} ${row.protocol ?? ''}`.toLowerCase().includes(wanted)),
  );
}
