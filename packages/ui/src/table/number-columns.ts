import { formatCount, formatOr } from '../format';
import type { Column } from './columns';

/** A column of numbers, each written by `write`; a missing one shows as a dash and sorts last. */
export function numberColumn<Row>(
  key: string,
  label: string,
  value: (row: Row) => number | null,
  write: (value: number) => string,
): Column<Row> {
  return { key, label, text: (row) => formatOr(value(row), write), order: value, numeric: true };
}

/** A column of whole numbers. */
export function countColumn<Row>(
  key: string,
  label: string,
  value: (row: Row) => number | null,
): Column<Row> {
  return numberColumn(key, label, value, formatCount);
}

/** The year after active treatment for which a row stands; it names the row. */
export function yearColumn<Row>(year: (row: Row) => number): Column<Row> {
  return {
    key: 'year',
    label: 'Year',
    text: (row) => String(year(row)),
    order: year,
    unbroken: true,
    heading: true,
  };
}
