/** Something in a centre's statistics that cannot be. */
export interface StatisticsFault {
  /** The way to the field, as `measures.0.losses`. */
  readonly place: string;
  /** What would be right there, as the end of a sentence. It holds nothing of what was sent. */
  readonly right: string;
}

/** Collects faults under a place. */
export class FaultList {
  readonly found: StatisticsFault[];
  readonly #place: string;

  constructor(place = '', found: StatisticsFault[] = []) {
    this.#place = place;
    this.found = found;
  }

  /** The same list, for fields under a further place. */
  within(place: string): FaultList {
    return new FaultList(this.#join(place), this.found);
  }

  /** Adds a fault at a field under this place, unless what must hold there does. */
  unless(holds: boolean, field: string, right: string): void {
    if (!holds) this.found.push({ place: this.#join(field), right });
  }

  #join(place: string): string {
    return [this.#place, place].filter((part) => part !== '').join('.');
  }
}

/** The sum of one number of each row. */
export function sumOf<Row>(rows: readonly Row[], pick: (row: Row) => number): number {
  return rows.reduce((sum, row) => sum + pick(row), 0);
}
