import type { ReadablePoint, KeyEntry } from '../charts/chart-model';

/** What a row of a forest plot stands for; each kind is drawn in its own way. */
export type ForestRowKind = 'centre' | 'own' | 'mean' | 'prediction' | 'series' | 'without';

/** One row of a forest plot, from the top. */
export interface ForestModelRow {
  /** Names the row among the others. */
  readonly id: string;
  readonly kind: ForestRowKind;
  readonly label: string;
  /** Patients behind it as they are written; empty where none are told. */
  readonly patients: string;
  /** Null for a range without a value of its own. */
  readonly estimate: number | null;
  /** A null limit is open: the line runs to the edge with an arrow head. */
  readonly lower: number | null;
  readonly upper: number | null;
  /** Share in the mean over centres, 0 to 1; null where it has none. */
  readonly weight: number | null;
  /** Estimate and interval as they are written beside the row. */
  readonly result: string;
}

/** A forest plot: rows below each other on one common axis. */
export interface ForestModel {
  readonly rows: readonly ForestModelRow[];
  /** Over the names of the rows, the patients and the results. */
  readonly headings: { readonly label: string; readonly patients: string; readonly result: string };
  readonly axis: {
    readonly label: string;
    readonly range: readonly [min: number, max: number];
    readonly write: (value: number) => string;
  };
  /** An upright line at the mean over centres; null where there is none. */
  readonly guide: number | null;
  readonly key: readonly KeyEntry[];
}

/** The stops of the reading cursor, one for each row. */
export function forestPoints({ rows }: ForestModel): ReadablePoint[] {
  return rows.map(({ label, patients, result, weight }, x) => {
    const share = weight === null ? '' : `, weight ${Math.round(weight * 100)} %`;
    const behind = patients === '' ? '' : `, ${patients} patients`;
    return { x, text: `${label}: ${result}${behind}${share}.` };
  });
}
