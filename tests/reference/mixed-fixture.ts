import type { MixedData, NamedColumn, ResidualModel } from '@longhold/core/mixed';
import { isRefusal, type Refusal } from '@longhold/core/numeric';

/** A model as the R scripts write it: matrices by rows, labels as numbers. */
export interface MixedModelRows {
  readonly y: number[];
  readonly X: number[][];
  readonly Z: number[][];
  readonly group: number[];
  readonly C: number[][] | null;
  readonly outer: number[] | null;
  readonly diagonal: boolean;
  readonly weights: number[];
  readonly sigma: number | null;
}

/** The same model for the library. */
export function mixedData(rows: MixedModelRows): MixedData {
  const data: MixedData = {
    response: rows.y,
    fixed: columnsOf(rows.X),
    random: {
      factor: 'group',
      labels: rows.group,
      columns: columnsOf(rows.Z),
      structure: rows.diagonal ? 'diagonal' : 'full',
    },
    residual: residualOf(rows),
  };
  if (rows.C === null || rows.outer === null) return data;
  return { ...data, outer: { factor: 'outer', labels: rows.outer, columns: columnsOf(rows.C) } };
}

function residualOf({ weights, sigma }: MixedModelRows): ResidualModel {
  if (sigma === null) return { weights };
  return sigma === 1 ? { variances: weights.map((weight) => 1 / weight) } : { standardDeviation: sigma };
}

function columnsOf(rows: readonly (readonly number[])[]): NamedColumn[] {
  return (rows[0] ?? []).map((_, j) => ({
    name: `column ${j + 1}`,
    values: rows.map((row) => row[j] ?? NaN),
  }));
}

/** The answer, or a failed test that shows the refusal. */
export function answered<Answer>(value: Answer | Refusal): Answer {
  if (isRefusal(value)) throw new Error(value.message);
  return value;
}
