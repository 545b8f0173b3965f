import {
  chiSquaredUpperTail,
  designMatrix,
  inverseFromCholesky,
  isRefusal,
  normalTwoSidedP,
  refuse,
  twoSidedNormal,
  type DesignMatrix,
  type DesignRefusal,
  type DesignTerm,
  type Refusal,
} from '../../numeric';
import { errorDistribution, type TimeDistribution } from './error-distributions';
import { checkIntervals, countsOf, type IntervalRefusal, type IntervalTimes } from './interval-times';
import { coefficientsBack, covarianceBack, orthogonalDesign, type OrthogonalDesign } from './time-design';
import { maximumInCoefficients, type NoMaximum, type OrthogonalData, type TimeMaximum } from './time-maximum';
import { logHazardError, sandwich, waldStatistic } from './time-variance';

/** What a regression of times is asked for. */
export interface TimeRegressionInput {
  /** Times above 0 in any one unit; `count` weighs the entries. */
  readonly times: IntervalTimes;
  readonly distribution: TimeDistribution;
  /** Covariates and factors; an intercept is added. May be empty. */
  readonly terms: readonly DesignTerm[];
  /** Labels that join entries which are not independent (patients of one family); asks for the robust variance. */
  readonly cluster?: ArrayLike<string | number> | undefined;
}

/** What is fitted and how its errors are reckoned. */
export interface TimeRegressionOptions {
  /** Confidence level of the limits; default 0.95. */
  readonly level?: number | undefined;
  /** The sandwich variance, right also where the distribution is not; default: only with `cluster`. */
  readonly robust?: boolean | undefined;
}

/** One number with its limits. */
export interface WithLimits {
  readonly estimate: number;
  readonly lower: number;
  readonly upper: number;
}

/** One coefficient of a regression of log times. */
export interface TimeCoefficient extends WithLimits {
  /** Column of the design: `(intercept)`, a covariate's name, or `factor=level`. */
  readonly name: string;
  readonly standardError: number;
  readonly z: number;
  /** Two-sided, by the normal distribution (Wald). */
  readonly p: number;
  /** By what a time is multiplied for one unit more; null for the intercept. */
  readonly timeRatio: WithLimits | null;
  /** By what the hazard is multiplied for one unit more, exp(-beta/sigma); null for the intercept and where hazards are not proportional. */
  readonly hazardRatio: WithLimits | null;
}

/** A chi-squared test. */
export interface ChiSquaredTest {
  readonly statistic: number;
  readonly df: number;
  readonly p: number;
}

/** A regression of log times: log T = x'beta + sigma W. */
export interface TimeRegression {
  readonly distribution: TimeDistribution;
  readonly coefficients: readonly TimeCoefficient[];
  /** sigma, with limits symmetric in its logarithm; 1 with no standard error for the exponential distribution. */
  readonly scale: WithLimits & { readonly logStandardError: number | null };
  /** Covariance of the coefficients and, last unless the scale is fixed, log sigma; the robust one where asked for. */
  readonly covariance: readonly (readonly number[])[];
  readonly variance: 'model' | 'robust';
  /** Of the times themselves, not of their logarithms. */
  readonly logLikelihood: number;
  /** Of the same model without any term. */
  readonly nullLogLikelihood: number;
  /** Against the model without any term; null without terms. Not given with robust variance, for which it does not hold. */
  readonly likelihoodRatio: ChiSquaredTest | null;
  /** All columns of each term together. */
  readonly termTests: readonly (ChiSquaredTest & { readonly term: string })[];
  readonly aic: number;
  /** Free parameters, the scale included. */
  readonly parameters: number;
  /** The sum of the counts, and of those by what is known of the time. */
  readonly observations: number;
  readonly exact: number;
  readonly intervalCensored: number;
  readonly leftCensored: number;
  readonly rightCensored: number;
  readonly iterations: number;
  readonly level: number;
  readonly design: DesignMatrix;
  /** The same model with orthogonal columns, for what is predicted from it. */
  readonly turned: TurnedFit;
}

/** A fit in orthogonal columns. */
interface TurnedFit {
  readonly design: OrthogonalDesign;
  readonly coefficients: Float64Array;
  /** As in the fit as given, row by row. */
  readonly covariance: Float64Array;
}

export type TimeRegressionRefusal =
  | IntervalRefusal
  | DesignRefusal
  | NoMaximum
  | Refusal<'zero-time' | 'no-events' | 'wrong-level' | 'too-few-clusters'>;

/**
 * The accelerated failure time model for exact, right-, left- and interval-censored times, by maximum likelihood.
 * Newton's method in the parameters in which the likelihood is concave; variances from the second derivatives in
 * beta and log sigma, or the sandwich of them with the scores.
 * Sources: Kalbfleisch and Prentice 2002, chapter 3; Burridge 1981 (concavity); Lin and Wei 1989 (sandwich).
 *
 * @returns a refusal for times that are not intervals, an exact time of 0, no time bounded on the right or none on
 *   the left, a design that is not of full rank, and a likelihood without a maximum (a level where nobody was seen
 *   with the event, times that could all be the same)
 */
export function timeRegression(
  input: TimeRegressionInput,
  options: TimeRegressionOptions = {},
): TimeRegression | TimeRegressionRefusal {
  const level = options.level ?? 0.95;
  if (!(level > 0 && level < 1)) {
    return refuse('wrong-level', `level is ${level}; it must lie between 0 and 1.`);
  }
  const wrong = checkColumns(input);
  if (wrong !== null) return wrong;
  const present = presentRows(input);
  const designs = designsOf(present);
  if ('refused' in designs) return designs;
  const { times, distribution } = present;
  const turned = orthogonalDesign(designs.full);
  const data: OrthogonalData = {
    logLeft: Float64Array.from(times.left, Math.log),
    logRight: Float64Array.from(times.right, Math.log),
    weight: countsOf(times),
    design: turned,
  };
  const error = errorDistribution(distribution);
  const scaleKnown = distribution === 'exponential';
  const maximum = maximumInCoefficients(data, error, scaleKnown);
  if ('refused' in maximum) return maximum;
  const nothing = maximumInCoefficients(
    { ...data, design: orthogonalDesign(designs.constant) },
    error,
    scaleKnown,
  );
  if ('refused' in nothing) return nothing;
  const covariance = covarianceOf(maximum, present, options);
  if ('refused' in covariance) return covariance;
  const given = covarianceBack(turned, covariance.values, maximum.size);
  if (!given.every((value) => Number.isFinite(value))) {
    return refuse(
      'wrong-value',
      'A variance is too large to be written; give the covariates in larger units.',
    );
  }
  return {
    ...described(
      input,
      designs.full,
      { ...maximum, coefficients: coefficientsBack(turned, maximum.coefficients) },
      { ...covariance, values: given },
      level,
    ),
    logLikelihood: maximum.value,
    nullLogLikelihood: nothing.value,
    likelihoodRatio:
      covariance.robust || input.terms.length === 0
        ? null
        : chiSquaredTest(2 * (maximum.value - nothing.value), designs.full.columns - 1),
    aic: 2 * maximum.size - 2 * maximum.value,
    ...kinds(times, data.weight),
    level,
    turned: { design: turned, coefficients: maximum.coefficients, covariance: covariance.values },
  };
}

/** What is wrong with the times, or with a column that is not as long as they are. */
function checkColumns({ times, terms, cluster }: TimeRegressionInput): TimeRegressionRefusal | null {
  const wrong = checkIntervals(times) ?? checkForLogarithms(times);
  if (wrong !== null) return wrong;
  const rows = times.left.length;
  const columns = [...terms, ...(cluster === undefined ? [] : [{ name: 'cluster', values: cluster }])];
  const short = columns.find(({ values }) => values.length !== rows);
  if (short === undefined) return null;
  return refuse('wrong-length', `${short.name} has ${short.values.length} entries where ${rows} are needed.`);
}

/** The input without entries whose count is 0, which take no part: neither do their labels nor their clusters. */
function presentRows(input: TimeRegressionInput): TimeRegressionInput {
  const { times, terms, cluster } = input;
  const { count } = times;
  if (count === undefined) return input;
  const rows = Array.from({ length: count.length }, (_, i) => i).filter((i) => (count[i] ?? 0) > 0);
  if (rows.length === count.length) return input;
  const numbers = (column: ArrayLike<number>): number[] => rows.map((i) => column[i] ?? NaN);
  const labels = (column: ArrayLike<string | number>): (string | number)[] =>
    rows.map((i) => column[i] ?? NaN);
  return {
    ...input,
    times: { left: numbers(times.left), right: numbers(times.right), count: numbers(count) },
    terms: terms.map((term) =>
      term.kind === 'numeric'
        ? { ...term, values: numbers(term.values) }
        : { ...term, values: labels(term.values) },
    ),
    cluster: cluster === undefined ? undefined : labels(cluster),
  };
}

/** The design with all terms and the one with the intercept only, or what is wrong with the terms. */
function designsOf({
  times,
  terms,
}: TimeRegressionInput): { full: DesignMatrix; constant: DesignMatrix } | TimeRegressionRefusal {
  const rows = times.left.length;
  const full = designMatrix(terms, rows, { intercept: true });
  if (isRefusal(full)) return full;
  const constant = designMatrix([], rows, { intercept: true });
  return isRefusal(constant) ? constant : { full, constant };
}

interface Covariance {
  readonly values: Float64Array;
  readonly robust: boolean;
}

function covarianceOf(
  { factor, size, scores }: TimeMaximum,
  { times, cluster }: TimeRegressionInput,
  options: TimeRegressionOptions,
): Covariance | Refusal<'too-few-clusters'> {
  const naive = inverseFromCholesky(factor, size);
  const robust = options.robust ?? cluster !== undefined;
  if (!robust) return { values: naive, robust };
  const labels = cluster ?? Array.from({ length: times.left.length }, (_, i) => i);
  const clusters = new Set(Array.from(labels)).size;
  // Their scores add up to 0, so one of them tells nothing of its own.
  if (clusters <= size) {
    return refuse(
      'too-few-clusters',
      `There are ${clusters} clusters; a robust variance of ${size} parameters needs more than that.`,
    );
  }
  return { values: sandwich(naive, scores, size, labels), robust };
}

/** Estimates with their limits and tests. */
function described(
  { distribution }: TimeRegressionInput,
  design: DesignMatrix,
  { coefficients, scale, size, iterations }: TimeMaximum,
  { values: covariance, robust }: Covariance,
  level: number,
): Pick<
  TimeRegression,
  | 'distribution'
  | 'coefficients'
  | 'scale'
  | 'covariance'
  | 'variance'
  | 'termTests'
  | 'parameters'
  | 'iterations'
  | 'design'
> {
  const multiplier = twoSidedNormal(level);
  const scaleKnown = distribution === 'exponential';
  const logScaleError = scaleKnown ? null : Math.sqrt(covariance[size * size - 1] ?? 0);
  const logHazard = (j: number, beta: number, standardError: number): WithLimits =>
    scaleKnown
      ? around(-beta, standardError, multiplier)
      : around(-beta / scale, logHazardError(beta, scale, covariance, size, j), multiplier);
  const proportional = scaleKnown || distribution === 'weibull';
  return {
    distribution,
    coefficients: design.names.map((name, j): TimeCoefficient => {
      const estimate = coefficients[j] ?? 0;
      const standardError = Math.sqrt(covariance[j * size + j] ?? 0);
      const limits = around(estimate, standardError, multiplier);
      const z = estimate / standardError;
      const hazard = proportional && j > 0 ? exponentials(logHazard(j, estimate, standardError)) : null;
      const timeRatio = j > 0 ? exponentials(limits) : null;
      return { name, ...limits, standardError, z, p: normalTwoSidedP(z), timeRatio, hazardRatio: hazard };
    }),
    scale: {
      ...exponentials(around(Math.log(scale), logScaleError ?? 0, multiplier)),
      logStandardError: logScaleError,
    },
    covariance: Array.from({ length: size }, (_, row) =>
      Array.from(covariance.subarray(row * size, (row + 1) * size)),
    ),
    variance: robust ? 'robust' : 'model',
    termTests: design.terms.map(({ name, firstColumn, columns }) => ({
      term: name,
      ...chiSquaredTest(waldStatistic(coefficients, covariance, size, firstColumn, columns), columns),
    })),
    parameters: size,
    iterations,
    design,
  };
}

function checkForLogarithms({
  left,
  right,
  count,
}: IntervalTimes): Refusal<'zero-time' | 'no-events'> | null {
  let boundedAbove = false;
  let boundedBelow = false;
  for (let i = 0; i < left.length; i++) {
    if (right[i] === 0) {
      return refuse(
        'zero-time',
        `right[${i}] is 0; a time must be above 0, because its logarithm is modelled.`,
      );
    }
    if (count !== undefined && count[i] === 0) continue;
    if ((right[i] ?? 0) < Infinity) boundedAbove = true;
    if ((left[i] ?? 0) > 0) boundedBelow = true;
  }
  if (!boundedAbove)
    return refuse('no-events', 'No time has a right end; at least one event must have been seen.');
  if (boundedBelow) return null;
  return refuse(
    'no-events',
    'Every left end is 0; at least one patient must have been seen without the event.',
  );
}

function around(estimate: number, standardError: number, multiplier: number): WithLimits {
  const reach = multiplier * standardError;
  return { estimate, lower: estimate - reach, upper: estimate + reach };
}

function exponentials({ estimate, lower, upper }: WithLimits): WithLimits {
  const finite = (value: number): number => Math.min(Math.exp(value), Number.MAX_VALUE);
  return { estimate: finite(estimate), lower: finite(lower), upper: finite(upper) };
}

function chiSquaredTest(statistic: number, df: number): ChiSquaredTest {
  const value = Math.max(0, statistic);
  return { statistic: value, df, p: chiSquaredUpperTail(value, df) };
}

function kinds(
  { left, right }: IntervalTimes,
  weight: Float64Array,
): Pick<TimeRegression, 'observations' | 'exact' | 'intervalCensored' | 'leftCensored' | 'rightCensored'> {
  const sums = { observations: 0, exact: 0, intervalCensored: 0, leftCensored: 0, rightCensored: 0 };
  for (let i = 0; i < weight.length; i++) {
    const n = weight[i] ?? 0;
    sums.observations += n;
    if (left[i] === right[i]) sums.exact += n;
    else if (right[i] === Infinity) sums.rightCensored += n;
    else if (left[i] === 0) sums.leftCensored += n;
    else sums.intervalCensored += n;
  }
  return sums;
}
