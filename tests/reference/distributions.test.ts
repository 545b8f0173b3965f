import { describe, expect, it } from 'vitest';
import {
  betaQuantile,
  chiSquaredCumulative,
  chiSquaredQuantile,
  chiSquaredUpperTail,
  fQuantile,
  fUpperTail,
  normalCumulative,
  normalQuantile,
  normalTwoSidedP,
  studentCumulative,
  studentQuantile,
  studentTwoSidedP,
} from '@longhold/core/numeric';
import { expectClose } from './closeness';
import { readFixture } from './fixture';
import { DISTRIBUTION } from './tolerances';

/** Source: R's qnorm, pnorm, qt, pt, qchisq, qbeta, pchisq, pf and the inverse of pf; see r/distributions.R. Columns are arguments, then the value. */
type Table<Argument extends string> = Record<Argument | 'value', number[]>;
const tables = readFixture<{
  normalQuantile: Table<'p'>;
  normalCumulative: Table<'z'>;
  studentQuantile: Table<'p' | 'df'>;
  studentTwoSidedP: Table<'t' | 'df'>;
  chiSquaredQuantile: Table<'p' | 'df'>;
  chiSquaredUpperTail: Table<'x' | 'df'>;
  chiSquaredCumulative: Table<'x' | 'df'>;
  manyChiSquaredQuantile: Table<'p' | 'df'>;
  manyChiSquaredUpperTail: Table<'x' | 'df'>;
  manyChiSquaredCumulative: Table<'x' | 'df'>;
  fUpperTail: Table<'f' | 'numerator' | 'denominator'>;
  fQuantile: Table<'p' | 'numerator' | 'denominator'>;
  studentCumulative: Table<'t' | 'df'>;
  betaQuantile: Table<'p' | 'a' | 'b'>;
}>('distributions');

/** As `compare`, without an absolute floor: the tails of a p value are met to their own digits, down to 1e-300. */
function compareTails<Argument extends string>(
  table: Table<Argument>,
  names: readonly Argument[],
  f: (...values: number[]) => number,
): void {
  expect(table.value.length).toBeGreaterThan(0);
  table.value.forEach((expected, row) => {
    const values = names.map((name) => table[name][row] ?? NaN);
    expectClose(f(...values), expected, DISTRIBUTION, `at ${values.join(', ')}`);
  });
}

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
  it('chi-squared, into both far tails', () => {
    const names = ['x', 'df'] as const;
    compareTails(tables.chiSquaredUpperTail, names, (x = NaN, df = NaN) => chiSquaredUpperTail(x, df));
    compareTails(tables.chiSquaredCumulative, names, (x = NaN, df = NaN) => chiSquaredCumulative(x, df));
  });
  it('chi-squared on many degrees of freedom, quantile and both tails', () => {
    const names = ['x', 'df'] as const;
    compareTails(tables.manyChiSquaredQuantile, ['p', 'df'], (p = NaN, df = NaN) =>
      chiSquaredQuantile(p, df),
    );
    compareTails(tables.manyChiSquaredUpperTail, names, (x = NaN, df = NaN) => chiSquaredUpperTail(x, df));
    compareTails(tables.manyChiSquaredCumulative, names, (x = NaN, df = NaN) => chiSquaredCumulative(x, df));
  });
  it('F, into the far tail, and its quantile', () => {
    compareTails(tables.fUpperTail, ['f', 'numerator', 'denominator'], (f = NaN, a = NaN, b = NaN) =>
      fUpperTail(f, a, b),
    );
    compareTails(tables.fQuantile, ['p', 'numerator', 'denominator'], (p = NaN, a = NaN, b = NaN) =>
      fQuantile(p, a, b),
    );
  });
  it('F quantile in the far lower tail, where the arctangent law is exact', () => {
    // P(F <= f) on 1 and 1 degrees of freedom is 2 / pi * atan(sqrt(f)).
    expectClose(fQuantile(1e-6, 1, 1), Math.tan((Math.PI / 2) * 1e-6) ** 2, DISTRIBUTION);
  });
  it("Student's t distribution function", () =>
    compareTails(tables.studentCumulative, ['t', 'df'], (t = NaN, df = NaN) => studentCumulative(t, df)));
  it('two-sided p of a normal statistic is twice its lower tail', () =>
    expectClose(normalTwoSidedP(20), 2 * normalCumulative(-20), 1e-15));
  it('beta quantile', () =>
    compare(tables.betaQuantile, ['p', 'a', 'b'], (p = NaN, a = NaN, b = NaN) => betaQuantile(p, a, b)));
});
