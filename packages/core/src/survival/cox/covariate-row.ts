import { refuse, type Refusal } from '../../numeric';
import type { CoxFit } from './cox-fit';

/** The covariates of somebody: a value for each numeric covariate and a level for each factor, by name. */
export type CovariateRow = Readonly<Record<string, number | string>>;

/** What can be wrong with a row of covariates. */
export type CovariateRowRefusal = Refusal<'missing-covariate' | 'unknown-covariate' | 'wrong-value'>;

/** The row on the scale of the standardised covariates of the fit. */
export function standardisedRow({ model }: CoxFit, row: CovariateRow): Float64Array | CovariateRowRefusal {
  const { sorted, terms } = model;
  const unknown = Object.keys(row).find((name) => !terms.some((term) => term.name === name));
  if (unknown !== undefined) {
    const names = terms.map(({ name }) => name).join(', ');
    return refuse('unknown-covariate', `The model has no covariate ${unknown}; it has ${names}.`);
  }
  const values = new Float64Array(sorted.columns);
  for (const { name, firstColumn, levels } of terms) {
    const value = row[name];
    if (value === undefined) return refuse('missing-covariate', `The covariate ${name} has no value.`);
    if (levels === null) {
      if (typeof value !== 'number' || !Number.isFinite(value)) {
        return refuse('wrong-value', `${name} is ${value}; it must be a finite number.`);
      }
      values[firstColumn] = value;
      continue;
    }
    const level = levels.indexOf(value);
    if (level < 0) return refuse('wrong-value', `${name} is ${value}; its levels are ${levels.join(', ')}.`);
    if (level > 0) values[firstColumn + level - 1] = 1;
  }
  return values.map((value, j) => (value - (sorted.centre[j] ?? 0)) / (sorted.scale[j] ?? 1));
}
