/** One thing whose speed is measured, against R where R is there. */
export interface SpeedCase {
  readonly name: string;
  /** What is wanted, as it stands in the table: "no slower than R's survfit". */
  readonly wanted: string;
  /** Three sizes or more, so that growth with size can be seen. */
  readonly sizes: readonly number[];
  /** Draws the data of one size from a fixed seed; drawing is not timed. */
  prepare(size: number): SpeedTrial;
}

export interface SpeedTrial {
  /** The work that is timed. Run several times; the median counts. */
  readonly ours: () => unknown;
  /** The same work in R: `r/<script>.R` reads `columns` as a CSV file and prints the median milliseconds as `{"milliseconds": 1.5}`. */
  readonly r?: { readonly script: string; readonly columns: Readonly<Record<string, ArrayLike<number>>> };
}
