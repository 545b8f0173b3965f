/*
 * Which counts may be shown to members of a study group. A cell is a number of patients; it is known for each centre.
 * Nobody may learn a number of patients from 1 up to one below the smallest cell, nor work it out: not from percentages,
 * not by taking the own centre's patients, which every centre knows, from the pool, and not from sums of which one part
 * is withheld. Sources: the rules of domain bodies listed in docs/privacy.md; complementary suppression as in
 * Cox 1980 and Willenborg and de Waal 2001 (from memory).
 */

/** A number of patients, by centre in a fixed order. */
export type CellByCentre = readonly number[];

/** Sum over the centres. */
export function cellTotal(cell: CellByCentre): number {
  return cell.reduce((sum, count) => sum + count, 0);
}

/** Whether a count is one that singles people out. Zero does not. */
export function isSmall(count: number, smallestCell: number): boolean {
  return count > 0 && count < smallestCell;
}

/**
 * Whether a cell of the pool may be shown to every member: for each centre what is left of the pool without it comes from
 * at least two other centres and at least `smallestCell` patients, so that no centre can work out another's patients. A
 * cell that is empty everywhere may be shown.
 */
export function mayShowPool(cell: CellByCentre, smallestCell: number): boolean {
  const total = cellTotal(cell);
  if (total === 0) return true;
  if (isSmall(total, smallestCell)) return false;
  const contributing = cell.filter((count) => count > 0).length;
  return cell.every((own) => {
    const others = contributing - (own > 0 ? 1 : 0);
    return others >= 2 && total - own >= smallestCell;
  });
}

/** Whether a count of one centre may be shown to the coordinator. */
export function mayShowCentre(count: number, smallestCell: number): boolean {
  return !isSmall(count, smallestCell);
}

/** Cells that add up: the cell at `total` is the sum of those at `parts`. Places in one list of cells. */
export interface CellSum {
  readonly total: number;
  readonly parts: readonly number[];
}

/** What is known of single cells of a table beside their numbers; places in the list of cells. */
export interface CellKinds {
  /** Never printed, but following from what is printed, such as those who left between two years. */
  readonly unprinted?: ReadonlySet<number>;
  /** To be kept back whatever their numbers. */
  readonly withheld?: ReadonlySet<number>;
  /** Known to everybody whatever is printed, such as that nobody is of unknown sex: hiding them hides nothing. */
  readonly known?: ReadonlySet<number>;
}

interface Table {
  readonly cells: readonly CellByCentre[];
  readonly sums: readonly CellSum[];
  readonly mayShow: (cell: CellByCentre) => boolean;
  /** Nobody may learn these. */
  readonly secret: readonly boolean[];
  readonly known: ReadonlySet<number>;
  readonly hidden: boolean[];
}

/**
 * Which cells of a table stay hidden so that those that nobody may learn can't be worked out from the sums. In a sum with
 * hidden parts the hidden ones together must themselves be showable: if they are not, the smallest shown part is hidden
 * too, then the total. Afterwards no such cell follows from those shown; that is checked by elimination, and where one
 * still does, a further cell of its sum is hidden.
 *
 * @param cells by centre
 * @param mayShow whether a cell alone may be shown
 * @returns for each cell whether it stays hidden; true for all that are not printed
 */
export function hiddenCells(
  cells: readonly CellByCentre[],
  sums: readonly CellSum[],
  mayShow: (cell: CellByCentre) => boolean,
  { unprinted = new Set(), withheld = new Set(), known = new Set() }: CellKinds = {},
): boolean[] {
  const secret = cells.map((cell, i) => withheld.has(i) || !mayShow(cell));
  const table: Table = {
    cells,
    sums,
    mayShow,
    secret,
    known,
    hidden: secret.map((isSecret, i) => isSecret || unprinted.has(i)),
  };
  while (hideOneMore(table) || hideWhatFollows(table)) continue;
  return table.hidden;
}

/** Hides one cell more in the first sum whose hidden parts together are not showable; false where there is none. */
function hideOneMore({ cells, sums, mayShow, secret, known, hidden }: Table): boolean {
  for (const { total, parts } of sums) {
    const unseen = parts.filter((part) => hidden[part] === true);
    const [first] = unseen;
    if (first === undefined || hidden[total] === true) continue;
    const isApart = unseen.length > 1 || secret[first] !== true;
    if (isApart && mayShow(sumOf(unseen.map((part) => cells[part] ?? [])))) continue;
    hidden[smallestShown(cells, parts, { hidden, known }) ?? total] = true;
    return true;
  }
  return false;
}

/** Hides one more cell of a sum where a secret cell still follows from those shown; false where none does. */
function hideWhatFollows({ cells, sums, secret, known, hidden }: Table): boolean {
  const followed = followingCells(cells.length, sums, hidden).filter((cell) => secret[cell] === true);
  for (const cell of followed) {
    for (const { total, parts } of sums) {
      if (total !== cell && !parts.includes(cell)) continue;
      const more = smallestShown(cells, parts, { hidden, known }) ?? (hidden[total] === true ? null : total);
      if (more === null) continue;
      hidden[more] = true;
      return true;
    }
  }
  return false;
}

/** The shown part with the fewest patients, but not an empty one while there is another; null where none is shown. */
function smallestShown(
  cells: readonly CellByCentre[],
  parts: readonly number[],
  { hidden, known }: Pick<Table, 'hidden' | 'known'>,
): number | null {
  const shown = parts
    .filter((part) => hidden[part] !== true && !known.has(part))
    .map((part) => ({ part, patients: cellTotal(cells[part] ?? []) }))
    .sort((a, b) => Number(a.patients === 0) - Number(b.patients === 0) || a.patients - b.patients);
  return shown[0]?.part ?? null;
}

function sumOf(cells: readonly CellByCentre[]): number[] {
  const centres = cells[0]?.length ?? 0;
  return Array.from({ length: centres }, (_, c) => cells.reduce((sum, cell) => sum + (cell[c] ?? 0), 0));
}

/**
 * Hidden cells that the sums determine once the shown ones are known: Gauss and Jordan's elimination, on the entries that
 * are not zero.
 */
export function followingCells(
  count: number,
  sums: readonly CellSum[],
  hidden: readonly boolean[],
): number[] {
  const rows = sums.flatMap(({ total, parts }) => {
    const row = new Map<number, number>();
    for (const part of parts) if (hidden[part] === true) row.set(part, (row.get(part) ?? 0) + 1);
    if (hidden[total] === true) row.set(total, (row.get(total) ?? 0) - 1);
    return row.size === 0 ? [] : [row];
  });
  const holding = Array.from({ length: count }, () => new Set<Map<number, number>>());
  for (const row of rows) for (const place of row.keys()) holding[place]?.add(row);
  const done = new Set<Map<number, number>>();
  for (const [place, column] of holding.entries()) {
    const chosen = shortestOf(column, done);
    if (chosen === null) continue;
    done.add(chosen);
    for (const row of [...column]) if (row !== chosen) eliminate(row, chosen, place, holding);
  }
  return rows.flatMap((row) => (row.size === 1 ? [...row.keys()] : []));
}

/** The row with the fewest entries that has not been used, so that the others stay short; null where there is none. */
function shortestOf(
  rows: ReadonlySet<Map<number, number>>,
  done: ReadonlySet<Map<number, number>>,
): Map<number, number> | null {
  let shortest: Map<number, number> | null = null;
  for (const row of rows) {
    if (!done.has(row) && (shortest === null || row.size < shortest.size)) shortest = row;
  }
  return shortest;
}

/** Takes a multiple of one row from another, so that nothing of a column stays in it. */
function eliminate(
  row: Map<number, number>,
  by: ReadonlyMap<number, number>,
  column: number,
  holding: readonly Set<Map<number, number>>[],
): void {
  const factor = (row.get(column) ?? 0) / (by.get(column) ?? 1);
  for (const [place, entry] of by) {
    const left = (row.get(place) ?? 0) - factor * entry;
    if (place === column || Math.abs(left) < 1e-9) {
      row.delete(place);
      holding[place]?.delete(row);
    } else {
      row.set(place, left);
      holding[place]?.add(row);
    }
  }
}

/** How many patients of one centre were added, changed or withdrawn between two answers. */
export interface CentreChange {
  readonly patients: number;
  /** Whether it may be more: known for certain is only that much. */
  readonly orMore: boolean;
}

/**
 * Whether a new pooled answer may take the place of one that members saw: what changed in between must not be traceable
 * to few patients, neither by the difference of the two answers nor by that difference less the changes of the own
 * centre, which each centre knows.
 *
 * @param changed by centre
 */
export function mayRelease(changed: readonly CentreChange[], smallestCell: number): boolean {
  const total = changed.reduce((sum, { patients }) => sum + patients, 0);
  if (total < smallestCell) return false;
  return changed.every((own, c) => {
    const rest = total - own.patients;
    return (
      rest >= smallestCell || (rest === 0 && !changed.some(({ orMore }, other) => orMore && other !== c))
    );
  });
}

/** The same for whoever sees each centre: what changed in any of them must be nobody or enough. */
export function mayReleaseByCentre(changed: readonly CentreChange[], smallestCell: number): boolean {
  return changed.every(({ patients, orMore }) => patients >= smallestCell || (patients === 0 && !orMore));
}

/** Whether nothing changed at all. */
export function isUnchanged(changed: readonly CentreChange[]): boolean {
  return changed.every(({ patients, orMore }) => patients === 0 && !orMore);
}
