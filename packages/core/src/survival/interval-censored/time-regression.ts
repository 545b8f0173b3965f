import {
  chiSquaredUpperTail,
  cholesky,
  designMatrix,
  inverseFromCholesky,
  isRefusal,
  normalTwoSidedP,
  refuse,
  solveLower,
  solveUpper,
  twoSidedNormal,
  type DesignMatrix,
  type DesignRefusal,
  type DesignTerm,
  type Refusal,
} from '../../numeric';
import { errorDistribution, type TimeDistribution } from './error-distributions';
import { checkIntervals, countsOf, type IntervalRefusal, type IntervalTimes } from './interval-times';
import { maximumInCoefficients, type NoMaximum } from './time-maximum';
import type { TimeRegressionData } from './time-likelihood';

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
  const { times, distribution, terms, cluster } = input;
  const level = options.level ?? 0.95;
  if (!(level > 0 && level < 1))
    return refuse('wrong-level', `level is ${level}; it must lie between 0 and 1.`);
  const wrong = checkIntervals(times) ?? checkForLogarithms(times);
  if (wrong !== null) return wrong;
  const rows = times.left.length;
  const design = designMatrix(terms, rows, { intercept: true });
  if (isRefusal(design)) return design;
  const constant = designMatrix([], rows, { intercept: true });
  if (isRefusal(constant)) return constant;
  if (cluster !== undefined && cluster.length !== rows) {
    return refuse('wrong-length', `cluster has ${cluster.length} entries where ${rows} are needed.`);
  }
  const weight = countsOf(times);
  const logLeft = Float64Array.from(times.left, Math.log);
  const logRight = Float64Array.from(times.right, Math.log);
  const data: TimeRegressionData = { logLeft, logRight, weight, design };
  const error = errorDistribution(distribution);
  const scaleKnown = distribution === 'exponential';
  const maximum = maximumInCoefficients(data, error, scaleKnown);
  if ('refused' in maximum) return maximum;
  const nothing = maximumInCoefficients({ ...data, design: constant }, error, scaleKnown);
  if ('refused' in nothing) return nothing;
  const robust = options.robust ?? cluster !== undefined;
  const size = maximum.size;
  const naive = inverseFromCholesky(maximum.factor, size);
  const labels = cluster ?? Array.from({ length: rows }, (_, i) => i);
  const covariance = robust ? sandwich(naive, maximum.scores, size, labels) : naive;
  if (robust && new Set(Array.from(labels)).size <= design.columns) {
    return refuse('too-few-clusters', 'A robust variance needs more clusters than there are coefficients.');
  }
  const multiplier = twoSidedNormal(level);
  const proportional = distribution === 'exponential' || distribution === 'weibull';
  const { scale, coefficients } = maximum;
  const scaleError = scaleKnown ? null : Math.sqrt(covariance[size * size - 1] ?? 0);
  return {
    distribution,
    coefficients: design.names.map((name, j) => {
      const estimate = coefficients[j] ?? 0;
      const standardError = Math.sqrt(covariance[j * size + j] ?? 0);
      const z = estimate / standardError;
      const limits = around(estimate, standardError, multiplier);
      const logHazard = scaleKnown
        ? around(-estimate, standardError, multiplier)
        : around(-estimate / scale, logHazardError(estimate, scale, covariance, size, j), multiplier);
      return {
        name,
        ...limits,
        standardError,
        z,
        p: normalTwoSidedP(z),
        timeRatio: j === 0 ? null : exponentials(limits),
        hazardRatio: j === 0 || !proportional ? null : exponentials(logHazard),
      };
    }),
    scale: {
      ...exponentials(around(Math.log(scale), scaleError ?? 0, multiplier)),
      logStandardError: scaleError,
    },
    covariance: Array.from({ length: size }, (_, row) =>
      Array.from(covariance.subarray(row * size, (row + 1) * size)),
    ),
    variance: robust ? 'robust' : 'model',
    logLikelihood: maximum.value,
    nullLogLikelihood: nothing.value,
    likelihoodRatio:
      robust || terms.length === 0
        ? null
        : chiSquaredTest(2 * (maximum.value - nothing.value), design.columns - 1),
    termTests: design.terms.map(({ name, firstColumn, columns }) => ({
      term: name,
      ...waldTest(coefficients, covariance, size, firstColumn, columns),
    })),
    aic: 2 * size - 2 * maximum.value,
    parameters: size,
    ...kinds(times, weight),
    iterations: maximum.iterations,
    level,
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

/** Standard error of -beta/sigma by the delta method, with log sigma the last parameter. */
function logHazardError(
  beta: number,
  scale: number,
  covariance: Float64Array,
  size: number,
  j: number,
): number {
  const scaleAt = size - 1;
  const inBeta = -1 / scale;
  const inScale = beta / scale;
  const variance =
    inBeta * inBeta * (covariance[j * size + j] ?? 0) +
    2 * inBeta * inScale * (covariance[scaleAt * size + j] ?? 0) +
    inScale * inScale * (covariance[scaleAt * size + scaleAt] ?? 0);
  return Math.sqrt(Math.max(0, variance));
}

/** The sandwich: naive variance, sum over clusters of squared scores, naive variance. */
function sandwich(
  naive: Float64Array,
  scores: Float64Array,
  size: number,
  labels: ArrayLike<string | number>,
): Float64Array {
  const sums = new Map<string | number, Float64Array>();
  for (let i = 0; i < labels.length; i++) {
    const label = labels[i] ?? i;
    const sum = sums.get(label) ?? new Float64Array(size);
    for (let j = 0; j < size; j++) sum[j] = (sum[j] ?? 0) + (scores[i * size + j] ?? 0);
    sums.set(label, sum);
  }
  const covariance = new Float64Array(size * size);
  for (const sum of sums.values()) {
    const influence = new Float64Array(size);
    for (let j = 0; j < size; j++) {
      for (let k = 0; k < size; k++)
        influence[j] = (influence[j] ?? 0) + (naive[j * size + k] ?? 0) * (sum[k] ?? 0);
    }
    for (let j = 0; j < size; j++) {
      for (let k = 0; k < size; k++) {
        covariance[j * size + k] =
          (covariance[j * size + k] ?? 0) + (influence[j] ?? 0) * (influence[k] ?? 0);
      }
    }
  }
  return covariance;
}

function waldTest(
  coefficients: Float64Array,
  covariance: Float64Array,
  size: number,
  from: number,
  df: number,
): ChiSquaredTest {
  const block = new Float64Array(df * df);
  for (let j = 0; j < df; j++) {
    for (let k = 0; k < df; k++) block[j * df + k] = covariance[(from + j) * size + from + k] ?? 0;
  }
  const estimates = coefficients.slice(from, from + df);
  const factor = cholesky(block, df);
  if (factor === null) return chiSquaredTest(0, df);
  const solved = solveUpper(factor, df, solveLower(factor, df, estimates.slice()));
  return chiSquaredTest(
    estimates.reduce((sum, value, j) => sum + value * (solved[j] ?? 0), 0),
    df,
  );
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
