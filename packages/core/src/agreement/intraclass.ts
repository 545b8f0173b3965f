import { checkColumn, fQuantile, fUpperTail, READING, refuse, type Refusal } from '../numeric';
import { checkShare, largestSize } from './checks';
import { withoutRounding } from './subjects';

/** The six coefficients of Shrout and Fleiss 1979: (model, number of ratings that are averaged). */
export type IntraclassForm = 'ICC(1,1)' | 'ICC(2,1)' | 'ICC(3,1)' | 'ICC(1,k)' | 'ICC(2,k)' | 'ICC(3,k)';

/** One intraclass correlation with its interval and its F test of no correlation. */
export interface IntraclassCoefficient {
  readonly form: IntraclassForm;
  /** May be below 0, where raters differ more than subjects; null where an average's coefficient has no value (F = 0). */
  readonly estimate: number | null;
  /**
   * Limits at the level; null where the estimate is null, where the error mean square is 0, and for an average where the
   * limit of the single rating is so low that the average has no coefficient.
   */
  readonly lower: number | null;
  readonly upper: number | null;
  /** F of no correlation on `df1` and `df2`, one-sided `p`; null where the mean square it is divided by is 0. */
  readonly f: number | null;
  readonly df1: number;
  readonly df2: number;
  readonly p: number | null;
}

/** Intraclass correlations of a complete table of ratings. */
export interface IntraclassCorrelations {
  readonly subjects: number;
  readonly raters: number;
  readonly level: number;
  /** Mean squares of the two-way table, and within subjects (raters and error together). Squared unit. */
  readonly meanSquares: {
    readonly subjects: number;
    readonly raters: number;
    readonly error: number;
    readonly withinSubjects: number;
  };
  /** Variances by the method of moments in the two-way random model; may be below 0. Squared unit. */
  readonly components: { readonly subjects: number; readonly raters: number; readonly error: number };
  /** In the order (1,1), (2,1), (3,1), (1,k), (2,k), (3,k). */
  readonly coefficients: readonly IntraclassCoefficient[];
  /** SD of one rating by a rater drawn at random: sqrt(raters + error), raters not below 0. Unit of the ratings. */
  readonly standardErrorAgreement: number;
  /** SD of one rating by a fixed rater, whose own level does not count: sqrt(error). */
  readonly standardErrorConsistency: number;
}

interface Table {
  readonly n: number;
  readonly k: number;
  readonly subjects: number;
  readonly raters: number;
  readonly error: number;
  readonly within: number;
}

/**
 * Intraclass correlations of n subjects rated by the same k raters (or k times).
 * (1,.): raters of each subject drawn anew. (2,.): raters drawn once, their levels count (agreement). (3,.): these raters
 * and no others, their levels do not count (consistency). Limits of (1,.) and (3,.) are exact; those of (2,.) by
 * Satterthwaite's degrees of freedom, in which a coefficient below 0 stands as 0.
 * Sources: Shrout and Fleiss 1979; McGraw and Wong 1996; de Vet and others 2006 (standard errors).
 *
 * @param ratings one row a subject, one column a rater, nothing missing
 */
export function intraclassCorrelations(
  ratings: readonly ArrayLike<number>[],
  options: { readonly level?: number } = {},
): IntraclassCorrelations | Refusal {
  const { level = 0.95 } = options;
  const wrong = checkShare('level', level) ?? checkRatings(ratings);
  if (wrong !== null) return wrong;
  const table = twoWayTable(ratings);
  const { n, k, subjects, raters, error, within } = table;
  if (subjects === 0 && within === 0) {
    return refuse('no-variation', 'All ratings are equal; a correlation needs subjects that differ.');
  }
  const components = {
    subjects: (subjects - error) / k,
    raters: (raters - error) / n,
    error,
  };
  const drawnAnew = oneWay(table, level);
  const drawnOnce = agreement(table, level);
  const fixed = consistency(table, level);
  return {
    subjects: n,
    raters: k,
    level,
    meanSquares: { subjects, raters, error, withinSubjects: within },
    components,
    coefficients: [
      drawnAnew,
      drawnOnce,
      fixed,
      average(drawnAnew, 'ICC(1,k)', k),
      average(drawnOnce, 'ICC(2,k)', k),
      average(fixed, 'ICC(3,k)', k),
    ],
    standardErrorAgreement: Math.sqrt(Math.max(0, components.raters) + error),
    standardErrorConsistency: Math.sqrt(error),
  };
}

function checkRatings(ratings: readonly ArrayLike<number>[]): Refusal | null {
  const k = ratings[0]?.length ?? 0;
  if (ratings.length < 2)
    return refuse('too-few', `There are ${ratings.length} subjects; at least 2 are needed.`);
  if (k < 2) return refuse('too-few', `ratings[0] has ${k} ratings; at least 2 of each subject are needed.`);
  for (const [i, row] of ratings.entries()) {
    const wrong = checkColumn(`ratings[${i}]`, row, READING, k);
    if (wrong !== null) return wrong;
  }
  return null;
}

/** Mean squares from residuals, not from differences of sums, so that raters who agree leave an error of 0. */
function twoWayTable(ratings: readonly ArrayLike<number>[]): Table {
  const n = ratings.length;
  const k = ratings[0]?.length ?? 0;
  const largest = ratings.reduce((most, row) => Math.max(most, largestSize(row)), 0);
  // About the first rating, so that the size of all ratings costs no digits.
  const start = ratings[0]?.[0] ?? NaN;
  const rows = ratings.map((row) => Array.from(row, (value) => value - start));
  const rowMeans = rows.map((row) => row.reduce((sum, value) => sum + value, 0) / k);
  const columnMeans = Array.from(
    { length: k },
    (_, j) => rows.reduce((sum, row) => sum + (row[j] ?? NaN), 0) / n,
  );
  const grand = rowMeans.reduce((sum, value) => sum + value, 0) / n;
  const settled = (sum: number): number => withoutRounding(sum, n * k, largest);
  let error = 0;
  rows.forEach((row, i) => {
    row.forEach((value, j) => {
      error += (value - (rowMeans[i] ?? NaN) - (columnMeans[j] ?? NaN) + grand) ** 2;
    });
  });
  error = settled(error);
  const between = (means: readonly number[], each: number): number =>
    settled(each * means.reduce((sum, value) => sum + (value - grand) ** 2, 0));
  const subjects = between(rowMeans, k);
  const raters = between(columnMeans, n);
  return {
    n,
    k,
    subjects: subjects / (n - 1),
    raters: raters / (k - 1),
    error: error / ((n - 1) * (k - 1)),
    within: (raters + error) / (n * (k - 1)),
  };
}

function oneWay({ n, k, subjects, within }: Table, level: number): IntraclassCoefficient {
  const estimate = (subjects - within) / (subjects + (k - 1) * within);
  return byRatio('ICC(1,1)', estimate, subjects, within, n - 1, n * (k - 1), k, level);
}

function consistency({ n, k, subjects, error }: Table, level: number): IntraclassCoefficient {
  const spread = subjects + (k - 1) * error;
  // Raters who differ by constants over equal subjects: nothing is left to be consistent about.
  const estimate = spread === 0 ? null : (subjects - error) / spread;
  return byRatio('ICC(3,1)', estimate, subjects, error, n - 1, (n - 1) * (k - 1), k, level);
}

function byRatio(
  form: IntraclassForm,
  estimate: number | null,
  above: number,
  below: number,
  df1: number,
  df2: number,
  k: number,
  level: number,
): IntraclassCoefficient {
  if (below === 0 || estimate === null) {
    return { form, estimate, lower: null, upper: null, f: null, df1, df2, p: null };
  }
  const f = above / below;
  const tail = (1 - level) / 2;
  const at = (ratio: number): number => (ratio - 1) / (ratio + k - 1);
  return {
    form,
    estimate,
    lower: at(f / fQuantile(1 - tail, df1, df2)),
    upper: at(f / fQuantile(tail, df1, df2)),
    f,
    df1,
    df2,
    p: fUpperTail(f, df1, df2),
  };
}

function agreement({ n, k, subjects, raters, error }: Table, level: number): IntraclassCoefficient {
  const df1 = n - 1;
  const df2 = (n - 1) * (k - 1);
  const spread = subjects + (k - 1) * error + (k * (raters - error)) / n;
  const estimate = spread > 0 ? (subjects - error) / spread : null;
  if (error === 0 || estimate === null) {
    return { form: 'ICC(2,1)', estimate, lower: null, upper: null, f: null, df1, df2, p: null };
  }
  const f = subjects / error;
  const df = satterthwaite(Math.max(0, estimate), raters / error, n, k);
  const tail = (1 - level) / 2;
  const low = fQuantile(1 - tail, df1, df);
  const high = fQuantile(1 - tail, df, df1);
  const rest = k * raters + (k * n - k - n) * error;
  return {
    form: 'ICC(2,1)',
    estimate,
    // By the quantile's inverse: at a level near 1 it can be too large for a number.
    lower: (n * (subjects / low - error)) / (rest + (n * subjects) / low),
    upper: (n * (subjects - error / high)) / (rest / high + n * subjects),
    f,
    df1,
    df2,
    p: fUpperTail(f, df1, df2),
  };
}

/** Degrees of freedom of a * raters + b * error. Source: McGraw and Wong 1996, table 7, case 2A. */
function satterthwaite(correlation: number, ratersOverError: number, n: number, k: number): number {
  const a = k * correlation * ratersOverError;
  const b = n * (1 - correlation) + k * correlation * (n - 1);
  return (a + b) ** 2 / (a ** 2 / (k - 1) + b ** 2 / ((n - 1) * (k - 1)));
}

/** The coefficient of the mean of k ratings. Source: McGraw and Wong 1996 (Spearman and Brown's formula). */
function average(single: IntraclassCoefficient, form: IntraclassForm, k: number): IntraclassCoefficient {
  const stepped = (value: number | null): number | null => {
    if (value === null) return null;
    const below = 1 + (k - 1) * value;
    return below > 0 ? (k * value) / below : null;
  };
  const estimate = stepped(single.estimate);
  const limits = estimate === null ? [null, null] : [stepped(single.lower), stepped(single.upper)];
  const [lower = null, upper = null] = limits;
  return { ...single, form, estimate, lower, upper };
}
