import { checkColumn, FINITE } from './columns';
import { refuse, type Refusal } from './refusal';

/** A numeric covariate: one column, as it is. */
export interface NumericTerm {
  readonly kind: 'numeric';
  readonly name: string;
  readonly values: ArrayLike<number>;
}

/** A factor: one column for each level but the reference, 1 where the row has that level and 0 elsewhere. */
export interface FactorTerm {
  readonly kind: 'factor';
  readonly name: string;
  readonly values: ArrayLike<string | number>;
  /** All levels, the reference first. Default: those that occur, in rising order (numbers before texts). */
  readonly levels?: readonly (string | number)[];
}

export type DesignTerm = NumericTerm | FactorTerm;

/** The columns of a regression. */
export interface DesignMatrix {
  readonly rows: number;
  readonly columns: number;
  /** Name of each column: `(intercept)`, the term's name, or `name=level` for a factor. */
  readonly names: readonly string[];
  /** Row by row, `rows * columns` numbers. */
  readonly values: Float64Array;
  /** Where the columns of each term lie, in the order given; the intercept is no term. */
  readonly terms: readonly DesignPlace[];
}

/** The columns of one term. */
export interface DesignPlace {
  readonly name: string;
  readonly firstColumn: number;
  readonly columns: number;
  /** Levels of a factor, the reference first; null for a numeric term. */
  readonly levels: readonly (string | number)[] | null;
}

export type DesignRefusal = Refusal<
  | 'wrong-length'
  | 'wrong-value'
  | 'name-twice'
  | 'one-level'
  | 'level-twice'
  | 'unknown-level'
  | 'absent-level'
  | 'dependent-columns'
>;

/**
 * The design matrix of numeric covariates and factors with treatment coding: each column of a factor compares its
 * level with the reference. Source: McCullagh and Nelder 1989, section 3.3.
 *
 * @param rows number of rows; every term must have as many values
 * @param options `intercept` puts a column of ones first. `constant` tells that the model holds a constant (an
 *   intercept, or a baseline as Cox's has), so that columns that depend on it are refused too; default `true`
 * @returns a refusal for columns of the wrong length or with numbers that are not finite, a name given twice, a
 *   factor with one level, a level that is named but absent or present but not named, and columns of which one
 *   follows from those before it
 */
export function designMatrix(
  terms: readonly DesignTerm[],
  rows: number,
  options: { readonly intercept: boolean; readonly constant?: boolean },
): DesignMatrix | DesignRefusal {
  const twice = firstTwice(terms.map(({ name }) => name));
  if (twice !== undefined) return refuse('name-twice', `Two terms are named ${twice}; names must differ.`);
  const columns: { name: string; values: ArrayLike<number> }[] = [];
  if (options.intercept) columns.push({ name: '(intercept)', values: new Float64Array(rows).fill(1) });
  const places: DesignPlace[] = [];
  for (const term of terms) {
    const coded = term.kind === 'numeric' ? numericColumn(term, rows) : factorColumns(term, rows);
    if ('refused' in coded) return coded;
    places.push({
      name: term.name,
      firstColumn: columns.length,
      columns: coded.columns.length,
      levels: coded.levels,
    });
    columns.push(...coded.columns);
  }
  const dependent = dependentColumn(columns, rows, !options.intercept && (options.constant ?? true));
  if (dependent !== null) return dependent;
  const values = new Float64Array(rows * columns.length);
  columns.forEach((column, j) => {
    for (let i = 0; i < rows; i++) values[i * columns.length + j] = column.values[i] ?? NaN;
  });
  return {
    rows,
    columns: columns.length,
    names: columns.map(({ name }) => name),
    values,
    terms: places,
  };
}

/**
 * The row of a design for one new subject.
 *
 * @param values for each term its number or level
 * @returns a refusal for a term without a value, a value that is not a finite number, or a level the design lacks
 */
export function designRow(
  design: DesignMatrix,
  values: Readonly<Record<string, string | number>>,
): Float64Array | Refusal<'no-value' | 'wrong-value' | 'unknown-level' | 'unknown-term'> {
  const row = new Float64Array(design.columns);
  if (design.names[0] === '(intercept)') row[0] = 1;
  const names = design.terms.map(({ name }) => name);
  const unknown = Object.keys(values).find((name) => !names.includes(name));
  if (unknown !== undefined) {
    return refuse('unknown-term', `${unknown} is no term of the model; its terms are ${names.join(', ')}.`);
  }
  for (const { name, firstColumn, levels } of design.terms) {
    const value = values[name];
    if (value === undefined) return refuse('no-value', `A value for ${name} is needed.`);
    if (levels === null) {
      if (typeof value !== 'number' || !Number.isFinite(value)) {
        return refuse('wrong-value', `${name} is ${value}; it must be a finite number.`);
      }
      row[firstColumn] = value;
      continue;
    }
    const level = levels.indexOf(value);
    if (level < 0)
      return refuse('unknown-level', `${name} is ${value}; its levels are ${levels.join(', ')}.`);
    if (level > 0) row[firstColumn + level - 1] = 1;
  }
  return row;
}

interface Coded {
  readonly columns: readonly { readonly name: string; readonly values: ArrayLike<number> }[];
  readonly levels: readonly (string | number)[] | null;
}

function numericColumn({ name, values }: NumericTerm, rows: number): Coded | DesignRefusal {
  return checkColumn(name, values, FINITE, rows) ?? { columns: [{ name, values }], levels: null };
}

function factorColumns(term: FactorTerm, rows: number): Coded | DesignRefusal {
  const { name, values } = term;
  if (values.length !== rows) {
    return refuse('wrong-length', `${name} has ${values.length} entries where ${rows} are needed.`);
  }
  const levels = term.levels ?? risingLevels(values);
  const twice = firstTwice(levels);
  if (twice !== undefined) return refuse('level-twice', `The levels of ${name} name ${twice} twice.`);
  if (levels.length < 2) {
    return refuse(
      'one-level',
      `${name} has the one level ${levels[0] ?? 'none'}; a factor needs at least two.`,
    );
  }
  const place = new Map(levels.map((level, position) => [level, position]));
  const indicators = levels.map(() => new Float64Array(rows));
  for (let i = 0; i < rows; i++) {
    const value = values[i] ?? NaN;
    const position = place.get(value);
    const indicator = indicators[position ?? -1];
    if (indicator === undefined) {
      return refuse('unknown-level', `${name}[${i}] is ${value}; its levels are ${levels.join(', ')}.`);
    }
    indicator[i] = 1;
  }
  const absent = levels.find((_, position) => indicators[position]?.includes(1) !== true);
  if (absent !== undefined) {
    return refuse('absent-level', `No row of ${name} has the level ${absent}; leave it out of the levels.`);
  }
  const columns = indicators.map((column, position) => ({
    name: `${name}=${levels[position] ?? ''}`,
    values: column,
  }));
  return { columns: columns.slice(1), levels };
}

/** Numbers in rising order, then texts by their code points, so that the order is the same everywhere. */
function risingLevels(values: ArrayLike<string | number>): (string | number)[] {
  return [...new Set(Array.from(values))].sort((a, b) => {
    if (typeof a === 'number' && typeof b === 'number') return a - b;
    if (typeof a !== typeof b) return typeof a === 'number' ? -1 : 1;
    return a < b ? -1 : 1;
  });
}

function firstTwice<Value>(values: readonly Value[]): Value | undefined {
  return values.find((value, i) => values.indexOf(value) !== i);
}

/** A column whose part outside the span of those before it is shorter than this share of it adds nothing. */
const OUTSIDE_THE_SPAN = 1e-9;

/** Gram-Schmidt, twice over each column so that rounding does not hide a dependence (Golub and Van Loan 2013, 5.2). */
function dependentColumn(
  columns: readonly { readonly name: string; readonly values: ArrayLike<number> }[],
  rows: number,
  addOnes: boolean,
): DesignRefusal | null {
  const basis: Float64Array[] = [];
  const ones = { name: 'the constant', values: new Float64Array(rows).fill(1) };
  const checked = addOnes ? [ones, ...columns] : columns;
  for (const [position, { name, values }] of checked.entries()) {
    const rest = Float64Array.from(values);
    const length = Math.sqrt(product(rest, rest));
    for (let pass = 0; pass < 2; pass++) {
      for (const direction of basis) {
        const along = product(rest, direction);
        for (let i = 0; i < rows; i++) rest[i] = (rest[i] ?? 0) - along * (direction[i] ?? 0);
      }
    }
    const outside = Math.sqrt(product(rest, rest));
    if (!(outside > OUTSIDE_THE_SPAN * length)) {
      const before = checked.slice(0, position).map((column) => column.name);
      return refuse(
        'dependent-columns',
        `The column ${name} follows from ${before.join(', ') || 'nothing: it is zero throughout'}; leave one of them out.`,
      );
    }
    basis.push(rest.map((value) => value / outside));
  }
  return null;
}

function product(left: Float64Array, right: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < left.length; i++) sum += (left[i] ?? 0) * (right[i] ?? 0);
  return sum;
}
