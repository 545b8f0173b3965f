import { betaQuantile, normalTwoSidedP, refuse, twoSidedNormal, type Refusal } from '../numeric';
import { checkShare } from './checks';
import { withoutRounding } from './subjects';
import type { Limits } from './variance-limits';

/**
 * How much a pair of ratings agrees. `unweighted`: equal or not. `linear`: 1 - |i - j| / (k - 1).
 * `quadratic`: 1 - (i - j)^2 / (k - 1)^2. Or a k by k table of weights between 0 and 1, 1 on the diagonal.
 */
export type KappaWeights = 'unweighted' | 'linear' | 'quadratic' | readonly (readonly number[])[];

/** Weighted kappa of two raters with its large-sample errors. */
export interface WeightedKappa {
  readonly subjects: number;
  readonly categories: number;
  readonly level: number;
  readonly kappa: number;
  /** Not assuming that there is no agreement: for intervals. */
  readonly standardError: number;
  /** Under no agreement beyond chance: for the test. */
  readonly nullStandardError: number;
  /** kappa / nullStandardError with its two-sided p; null where that error is 0. */
  readonly z: number | null;
  readonly p: number | null;
  /**
   * kappa -+ z standardError, cut at 1 and at the smallest kappa there can be with these margins' chance agreement;
   * null where the standard error is 0, as it is where all pairs agree.
   */
  readonly limits: Limits | null;
  /**
   * 1 - (1 - kappa) exp(+- z standardError / (1 - kappa)): symmetrical on the log of the disagreement that is left, never
   * above 1, and nearer its level than `limits` where agreement is good; null with `limits`.
   */
  readonly logLimits: Limits | null;
  /** Weighted agreement observed and expected by chance. */
  readonly observedAgreement: number;
  readonly expectedAgreement: number;
  /** Share of pairs in the same category, with exact binomial limits. */
  readonly sameCategory: { readonly share: number } & Limits;
  /** Share of pairs in the same or a neighbouring category, with exact binomial limits. */
  readonly withinOne: { readonly share: number } & Limits;
}

/**
 * Counts of pairs of ratings: row = category of the first rater, column = of the second.
 *
 * @param categories all that could be given, in their order, also those never given
 */
export function crossTable(
  first: ArrayLike<string | number>,
  second: ArrayLike<string | number>,
  categories: readonly (string | number)[],
): readonly (readonly number[])[] | Refusal {
  const place = new Map(categories.map((category, i) => [category, i]));
  if (place.size !== categories.length) return refuse('twice-named', 'categories names a category twice.');
  if (second.length !== first.length) {
    return refuse('wrong-length', `second has ${second.length} entries where ${first.length} are needed.`);
  }
  const table = categories.map(() => categories.map(() => 0));
  for (let i = 0; i < first.length; i++) {
    for (const [name, column] of [
      ['first', first],
      ['second', second],
    ] as const) {
      if (!place.has(column[i] ?? NaN)) {
        return refuse(
          'unknown-category',
          `${name}[${i}] is ${column[i] ?? 'missing'}; it must be one of ${categories.join(', ')}.`,
        );
      }
    }
    const row = table[place.get(first[i] ?? NaN) ?? -1];
    const column = place.get(second[i] ?? NaN) ?? -1;
    if (row !== undefined) row[column] = (row[column] ?? 0) + 1;
  }
  return table;
}

/**
 * Weighted kappa of a square table of counts, categories in their order.
 * All limits are large-sample ones. Where agreement is good and a rare gross disagreement weighs much (quadratic
 * weights), `limits` hold the truth far less often than claimed; `logLimits` mend part of it.
 * Sources: Cohen 1960, 1968; Fleiss, Cohen and Everitt 1969 (both standard errors).
 *
 * @returns a refusal for a table that is not square or holds no counts, weights that do not fit, or a chance agreement
 *   of 1 (both raters used one and the same category only), where kappa is 0 / 0
 */
export function weightedKappa(
  table: readonly (readonly number[])[],
  options: { readonly weights?: KappaWeights; readonly level?: number } = {},
): WeightedKappa | Refusal {
  const { weights = 'unweighted', level = 0.95 } = options;
  const weight = weightTable(weights, table.length);
  if ('refused' in weight) return weight;
  const wrong = checkShare('level', level) ?? checkTable(table);
  if (wrong !== null) return wrong;
  const moments = kappaMoments(table, weight);
  const { kappa, expected, observed, subjects } = moments;
  if (kappa === null) {
    return refuse(
      'one-category',
      'Both raters put every subject into the same category; kappa needs two categories in use.',
    );
  }
  const { standardError, nullStandardError } = standardErrors(table, weight, moments);
  const z = nullStandardError === 0 ? null : kappa / nullStandardError;
  const half = twoSidedNormal(level) * standardError;
  const shareWithin = (distance: number): { readonly share: number } & Limits => {
    let count = 0;
    eachCell(table, (i, j, cell) => {
      if (Math.abs(i - j) <= distance) count += cell;
    });
    return binomialShare(count, subjects, level);
  };
  return {
    subjects,
    categories: table.length,
    level,
    kappa,
    standardError,
    nullStandardError,
    z,
    p: z === null ? null : normalTwoSidedP(z),
    limits:
      standardError === 0
        ? null
        : { lower: Math.max(-expected / (1 - expected), kappa - half), upper: Math.min(1, kappa + half) },
    logLimits:
      standardError === 0
        ? null
        : {
            lower: Math.max(-expected / (1 - expected), 1 - (1 - kappa) * Math.exp(half / (1 - kappa))),
            upper: 1 - (1 - kappa) * Math.exp(-half / (1 - kappa)),
          },
    observedAgreement: observed,
    expectedAgreement: expected,
    sameCategory: shareWithin(0),
    withinOne: shareWithin(1),
  };
}

/** Kappa of a table by weights already checked; null where chance agreement is 1. */
export function kappaOf(
  table: readonly (readonly number[])[],
  weight: readonly (readonly number[])[],
): number | null {
  return kappaMoments(table, weight).kappa;
}

interface Moments {
  readonly subjects: number;
  readonly rows: readonly number[];
  readonly columns: readonly number[];
  readonly observed: number;
  readonly expected: number;
  readonly kappa: number | null;
}

function kappaMoments(
  table: readonly (readonly number[])[],
  weight: readonly (readonly number[])[],
): Moments {
  const rows = table.map((row) => row.reduce((sum, count) => sum + count, 0));
  const columns = table.map((_, j) => table.reduce((sum, row) => sum + (row[j] ?? 0), 0));
  const subjects = rows.reduce((sum, count) => sum + count, 0);
  let observed = 0;
  let expected = 0;
  let disagreement = 0;
  let chanceDisagreement = 0;
  eachCell(table, (i, j, count) => {
    const w = weight[i]?.[j] ?? NaN;
    const chance = ((rows[i] ?? 0) / subjects) * ((columns[j] ?? 0) / subjects);
    observed += (w * count) / subjects;
    expected += w * chance;
    disagreement += ((1 - w) * count) / subjects;
    chanceDisagreement += (1 - w) * chance;
  });
  // By disagreements, so that raters who always agree get exactly 1.
  const kappa = chanceDisagreement === 0 ? null : 1 - disagreement / chanceDisagreement;
  return { subjects, rows, columns, observed, expected, kappa };
}

function standardErrors(
  table: readonly (readonly number[])[],
  weight: readonly (readonly number[])[],
  { subjects, rows, columns, expected, kappa }: Moments,
): { readonly standardError: number; readonly nullStandardError: number } {
  const left = 1 - (kappa ?? 0);
  const rowWeight = table.map((_, i) =>
    columns.reduce((sum, count, j) => sum + (count / subjects) * (weight[i]?.[j] ?? NaN), 0),
  );
  const columnWeight = table.map((_, j) =>
    rows.reduce((sum, count, i) => sum + (count / subjects) * (weight[i]?.[j] ?? NaN), 0),
  );
  // Both variances are second moments about a known mean; summed about that mean they cannot fall below 0.
  let general = 0;
  let underNull = 0;
  const meanGeneral = (kappa ?? 0) - expected * left;
  eachCell(table, (i, j, count) => {
    const w = weight[i]?.[j] ?? NaN;
    const expectedHere = (rowWeight[i] ?? 0) + (columnWeight[j] ?? 0);
    general += (count / subjects) * (w - expectedHere * left - meanGeneral) ** 2;
    const chance = ((rows[i] ?? 0) / subjects) * ((columns[j] ?? 0) / subjects);
    underNull += chance * (w - expectedHere + expected) ** 2;
  });
  const scale = Math.sqrt(subjects) * (1 - expected);
  const root = (variance: number): number => Math.sqrt(withoutRounding(variance, 1, 1)) / scale;
  return {
    standardError: left === 0 ? 0 : root(general),
    nullStandardError: root(underNull),
  };
}

function eachCell(
  table: readonly (readonly number[])[],
  visit: (i: number, j: number, count: number) => void,
): void {
  table.forEach((row, i) => {
    row.forEach((count, j) => visit(i, j, count));
  });
}

function binomialShare(count: number, n: number, level: number): { readonly share: number } & Limits {
  const tail = (1 - level) / 2;
  return {
    share: count / n,
    lower: count === 0 ? 0 : betaQuantile(tail, count, n - count + 1),
    upper: count === n ? 1 : betaQuantile(1 - tail, count + 1, n - count),
  };
}

/** The weights as a table, or a refusal where a given table does not fit. */
export function weightTable(
  weights: KappaWeights,
  categories: number,
): readonly (readonly number[])[] | Refusal {
  if (typeof weights === 'string') {
    const power = { unweighted: 0, linear: 1, quadratic: 2 }[weights];
    const scale = (categories - 1) ** power;
    const of = (distance: number): number => (distance === 0 ? 1 : 1 - distance ** power / scale);
    return Array.from({ length: categories }, (_, i) =>
      Array.from({ length: categories }, (_, j) => of(Math.abs(i - j))),
    );
  }
  for (let i = 0; i < categories; i++) {
    for (let j = 0; j < categories; j++) {
      const w = weights[i]?.[j] ?? NaN;
      const good = i === j ? w === 1 : w >= 0 && w <= 1;
      if (good && weights.length === categories && weights[i]?.length === categories) continue;
      return refuse(
        'wrong-weights',
        `weights[${i}][${j}] is ${w}; weights must be ${categories} by ${categories}, 1 on the diagonal, else 0 to 1.`,
      );
    }
  }
  return weights;
}

function checkTable(table: readonly (readonly number[])[]): Refusal | null {
  if (table.length < 2)
    return refuse('too-few', `There are ${table.length} categories; at least 2 are needed.`);
  let total = 0;
  for (const [i, row] of table.entries()) {
    if (row.length !== table.length) {
      return refuse(
        'wrong-length',
        `table[${i}] has ${row.length} entries where ${table.length} are needed.`,
      );
    }
    for (const [j, count] of row.entries()) {
      if (!Number.isSafeInteger(count) || count < 0) {
        return refuse(
          'wrong-value',
          `table[${i}][${j}] is ${count}; it must be a count, a whole number of 0 or more.`,
        );
      }
      total += count;
    }
  }
  if (total >= 2) return null;
  return refuse('too-few', `The table counts ${total} subjects; at least 2 are needed.`);
}
