import { cellTotal, hiddenCells, type CellByCentre, type CellSum } from './cells';

/**
 * Numbers of patients that hang together, put together piece by piece: what adds up, and what lies within what. From it
 * comes which of them stay hidden so that no small number can be worked out from all that is printed together.
 */
export class CountTable {
  readonly #cells: CellByCentre[] = [];
  readonly #sums: CellSum[] = [];
  readonly #unprinted = new Set<number>();
  readonly #known = new Set<number>();
  /** What lies directly within each number. */
  readonly #inside = new Map<number, Set<number>>();

  /** A number that is printed, by centre; returns its place. */
  printed(cell: CellByCentre): number {
    return this.#cells.push(cell) - 1;
  }

  /**
   * A number that is not printed but follows from others. One that is zero protects nothing: whoever guesses so, because
   * everybody's sex is recorded say, knows it.
   */
  unprinted(cell: CellByCentre): number {
    const place = this.printed(cell);
    this.#unprinted.add(place);
    if (cellTotal(cell) === 0) this.#known.add(place);
    return place;
  }

  /** The parts add up to the total. */
  sum(total: number, parts: readonly number[]): void {
    this.#sums.push({ total, parts });
    for (const part of parts) if (!this.#unprinted.has(part)) this.within(total, part);
  }

  /** All of the part are in the total as well. */
  within(total: number, part: number): void {
    const known = this.#inside.get(total);
    if (known === undefined) this.#inside.set(total, new Set([part]));
    else known.add(part);
  }

  /** Each number is within the one before it. */
  chain(places: readonly number[]): void {
    places.slice(1).forEach((place, i) => {
      const before = places[i];
      if (before !== undefined) this.within(before, place);
    });
  }

  /** The places that stay hidden. */
  hidden(mayShow: (cell: CellByCentre) => boolean): ReadonlySet<number> {
    const cells = [...this.#cells];
    const sums = [...this.#sums];
    const unprinted = new Set([...this.#unprinted].filter((place) => !this.#known.has(place)));
    for (const total of this.#inside.keys()) {
      for (const part of this.#allInside(total)) {
        const others = differenceOf(cells[total] ?? [], cells[part] ?? []);
        if (others.some((count) => count < 0)) continue;
        const place = cells.push(others) - 1;
        unprinted.add(place);
        sums.push({ total, parts: [part, place] });
      }
    }
    const hidden = hiddenCells(cells, sums, mayShow, { unprinted, known: this.#known });
    return new Set(hidden.flatMap((isHidden, place) => (isHidden ? [place] : [])));
  }

  /** What lies within a number, and within that, and so on: each of them can be taken from it. */
  #allInside(total: number): Set<number> {
    const found = new Set<number>();
    const open = [total];
    for (let place = open.pop(); place !== undefined; place = open.pop()) {
      for (const part of this.#inside.get(place) ?? []) {
        if (found.has(part)) continue;
        found.add(part);
        open.push(part);
      }
    }
    return found;
  }
}

function differenceOf(total: CellByCentre, part: CellByCentre): number[] {
  return total.map((count, c) => count - (part[c] ?? 0));
}
