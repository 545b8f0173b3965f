import { describe, expect, it } from 'vitest';
import {
  betaQuantile,
  chiSquaredQuantile,
  normalCumulative,
  normalQuantile,
  studentQuantile,
  studentTwoSidedP,
} from '@longhold/core/numeric';
import { expectClose } from './closeness';
import { readFixture } from './fixture';
import { DISTRIBUTION } from './tolerances';

/** Source: R's qnorm, pnorm, qt, pt, qchisq, qbeta; see r/distributions.R. Columns are arguments, then the value. */
type Table<Argument extends string> = Record<Argument | 'value', number[]>;
const tables = readFixture<{
  normalQuantile: Table<'p'>;
  normalCumulative: Table<'z'>;
  studentQuantile: Table<'p' | 'df'>;
  studentTwoSidedP: Table<'t' | 'df'>;
  chiSquaredQuantile: Table<'p' | 'df'>;
  betaQuantile: Table<'p' | 'a' | 'b'>;
}>('distributions');

/** Compares a function with its table, row by row; a value of exactly 0 must be met to 1e-15. */
function compare<Argument extends string>(
  table: Table<Argument>,
  names: readonly Argument[],
  f: (...values: number[]) => number,
): void {
  expect(table.value.length).toBeGreaterThan(0);
  table.value.forEach((expected, row) => {
    const values = names.map((name) => table[name][row] ?? NaN);
    expectClose(f(...values), expected, DISTRIBUTION, `at ${values.join(', ')}`, 1e-6);
  });
}

describe('tails and quantiles agree with R', () => {
  it('normal quantile, into the far tail', () =>
    compare(tables.normalQuantile, ['p'], (p = NaN) => normalQuantile(p)));
  it('normal distribution function, into the far tail', () => {
    tables.normalCumulative.value.forEach((expected, row) => {
      const z = tables.normalCumulative.z[row] ?? NaN;
      expectClose(normalCumulative(z), expected, DISTRIBUTION, `at ${z}`);
    });
  });
  it("Student's t quantile", () =>
    compare(tables.studentQuantile, ['p', 'df'], (p = NaN, df = NaN) => studentQuantile(p, df)));
  it("two-sided p of Student's t", () =>
    compare(tables.studentTwoSidedP, ['t', 'df'], (t = NaN, df = NaN) => studentTwoSidedP(t, df)));
  it('chi-squared quantile', () =>
    compare(tables.chiSquaredQuantile, ['p', 'df'], (p = NaN, df = NaN) => chiSquaredQuantile(p, df)));
  it('beta quantile', () =>
    compare(tables.betaQuantile, ['p', 'a', 'b'], (p = NaN, a = NaN, b = NaN) => betaQuantile(p, a, b)));
});
