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

/**
 * Which cells of a table stay hidden so that those that must be hidden can't be worked out from the sums. In a sum with
 * hidden parts the hidden ones together must themselves be showable: if they are not, the smallest shown part is hidden
 * too, then the total. Afterwards no hidden cell, and no hidden group that is small, follows from those shown; that is
 * checked by elimination, and whatever still follows takes a further cell of its sum with it.
 *
 * @param cells by centre
 * @param mayShow whether a cell alone may be shown
 * @returns for each cell whether it stays hidden
 */
export function hiddenCells(
  cells: readonly CellByCentre[],
  sums: readonly CellSum[],
  mayShow: (cell: CellByCentre) => boolean,
): boolean[] {
  const hidden = cells.map((cell) => !mayShow(cell));
  while (hideOneMore(cells, sums, mayShow, hidden) || hideWhatFollows(cells, sums, hidden)) continue;
  return hidden;
}

/** Hides one cell more in the first sum whose hidden parts together are not showable; false where there is none. */
function hideOneMore(
  cells: readonly CellByCentre[],
  sums: readonly CellSum[],
  mayShow: (cell: CellByCentre) => boolean,
  hidden: boolean[],
): boolean {
  for (const { total, parts } of sums) {
    const unseen = parts.filter((part) => hidden[part] === true);
    if (unseen.length === 0 || hidden[total] === true) continue;
    if (unseen.length > 1 && mayShow(sumOf(unseen.map((part) => cells[part] ?? [])))) continue;
    hidden[smallestShown(cells, parts, hidden) ?? total] = true;
    return true;
  }
  return false;
}

/** Hides one more cell of a sum where a hidden cell still follows from those shown; false where none does. */
function hideWhatFollows(
  cells: readonly CellByCentre[],
  sums: readonly CellSum[],
  hidden: boolean[],
): boolean {
  const followed = followingCells(cells.length, sums, hidden)[0];
  if (followed === undefined) return false;
  for (const { total, parts } of sums) {
    if (total !== followed && !parts.includes(followed)) continue;
    const more = smallestShown(cells, parts, hidden) ?? (hidden[total] === true ? null : total);
    if (more === null) continue;
    hidden[more] = true;
    return true;
  }
  return false;
}

/** The shown part with the fewest patients, but not an empty one while there is another; null where none is shown. */
function smallestShown(
  cells: readonly CellByCentre[],
  parts: readonly number[],
  hidden: readonly boolean[],
): number | null {
  const shown = parts
    .filter((part) => hidden[part] !== true)
    .map((part) => ({ part, patients: cellTotal(cells[part] ?? []) }))
    .sort((a, b) => Number(a.patients === 0) - Number(b.patients === 0) || a.patients - b.patients);
  return shown[0]?.part ?? null;
}

function sumOf(cells: readonly CellByCentre[]): number[] {
  const centres = cells[0]?.length ?? 0;
  return Array.from({ length: centres }, (_, c) => cells.reduce((sum, cell) => sum + (cell[c] ?? 0), 0));
}

/** Hidden cells that the sums determine once the shown ones are known: Gauss and Jordan's elimination. */
export function followingCells(
  count: number,
  sums: readonly CellSum[],
  hidden: readonly boolean[],
): number[] {
  const rows = sums.map(({ total, parts }) => {
    const row = new Array<number>(count).fill(0);
    for (const part of parts) if (hidden[part] === true) row[part] = (row[part] ?? 0) + 1;
    if (hidden[total] === true) row[total] = (row[total] ?? 0) - 1;
    return row;
  });
  let rank = 0;
  for (let column = 0; column < count && rank < rows.length; column++) {
    const pivot = rows.findIndex((row, i) => i >= rank && Math.abs(row[column] ?? 0) > 1e-9);
    const chosen = rows[pivot];
    if (chosen === undefined) continue;
    rows[pivot] = rows[rank] ?? [];
    const scale = chosen[column] ?? 1;
    const reduced = chosen.map((entry) => entry / scale);
    rows[rank] = reduced;
    rows.forEach((row, i) => {
      const factor = row[column] ?? 0;
      if (i !== rank && factor !== 0) rows[i] = row.map((entry, j) => entry - factor * (reduced[j] ?? 0));
    });
    rank++;
  }
  return rows.flatMap((row) => {
    const places = row.flatMap((entry, place) => (Math.abs(entry) > 1e-9 ? [place] : []));
    return places.length === 1 ? places : [];
  });
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
