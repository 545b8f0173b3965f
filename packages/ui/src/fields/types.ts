/** One choice of a list. */
export interface Choice {
  readonly value: string;
  readonly label: string;
}
