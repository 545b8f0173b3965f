import { normalCumulative, normalQuantile } from '../../numeric';

/** How the logarithm of a time scatters around its mean in a regression of times. */
export type TimeDistribution = 'exponential' | 'weibull' | 'log-logistic' | 'log-normal';

/** Distribution of the standardised error W in log T = x'beta + sigma W. All functions keep their digits in far tails. */
export interface ErrorDistribution {
  readonly logDensity: (z: number) => number;
  readonly logSurvival: (z: number) => number;
  readonly logCumulative: (z: number) => number;
  /** log(F(high) - F(low)) for finite ends; `width` is high - low, which the caller may know to more digits. */
  readonly logBetween: (low: number, high: number, width: number) => number;
  /** First and second derivative of the log density. */
  readonly slope: (z: number) => number;
  readonly curvature: (z: number) => number;
  /** Inverse of the distribution function, for a probability in (0, 1). */
  readonly quantile: (probability: number) => number;
  /** Mean of W, which a regression on log times needs for its start. */
  readonly mean: number;
}

/** log(1 - exp(-x)) for x > 0 (Maechler 2012, the switch at log 2). */
function logOneLessExp(x: number): number {
  return x > Math.LN2 ? Math.log1p(-Math.exp(-x)) : Math.log(-Math.expm1(-x));
}

/** log(1 + exp(x)). */
function logOnePlusExp(x: number): number {
  return x > 0 ? x + Math.log1p(Math.exp(-x)) : Math.log1p(Math.exp(x));
}

/** The smallest extreme value distribution, F(z) = 1 - exp(-exp(z)): the logarithm of a Weibull time. */
const EXTREME_VALUE: ErrorDistribution = {
  logDensity: (z) => z - Math.exp(z),
  logSurvival: (z) => -Math.exp(z),
  logCumulative: (z) => logOneLessExp(Math.exp(z)),
  logBetween: (low, _high, width) => -Math.exp(low) + logOneLessExp(Math.exp(low) * Math.expm1(width)),
  slope: (z) => 1 - Math.exp(z),
  curvature: (z) => -Math.exp(z),
  quantile: (probability) => Math.log(-Math.log1p(-probability)),
  mean: -0.5772156649015329,
};

const LOGISTIC: ErrorDistribution = {
  logDensity: (z) => -Math.abs(z) - 2 * Math.log1p(Math.exp(-Math.abs(z))),
  logSurvival: (z) => -logOnePlusExp(z),
  logCumulative: (z) => -logOnePlusExp(-z),
  logBetween: (low, high, width) => -logOnePlusExp(-high) - logOnePlusExp(low) + logOneLessExp(width),
  slope: (z) => -Math.tanh(z / 2),
  curvature: (z) => -0.5 / Math.cosh(z / 2) ** 2,
  quantile: (probability) => Math.log(probability) - Math.log1p(-probability),
  mean: 0,
};

const LOG_ROOT_TWO_PI = 0.5 * Math.log(2 * Math.PI);

function normalLogDensity(z: number): number {
  return -0.5 * z * z - LOG_ROOT_TWO_PI;
}

/** Beyond this the tail is the density times Mills' ratio as a continued fraction (Abramowitz and Stegun 26.2.14). */
const FAR_TAIL = 8;

function normalLogSurvival(z: number): number {
  if (z < FAR_TAIL) return z < -5 ? Math.log1p(-normalCumulative(z)) : Math.log(normalCumulative(-z));
  let fraction = z;
  for (let term = 40; term >= 1; term--) fraction = z + term / fraction;
  return normalLogDensity(z) - Math.log(fraction);
}

/** Below this width the density at the middle with its first correction is more exact than a difference of tails. */
const NARROW = 1e-4;

function normalLogBetween(low: number, high: number, width: number): number {
  if (width < NARROW && width * Math.max(Math.abs(low), Math.abs(high)) < NARROW) {
    const middle = (low + high) / 2;
    return normalLogDensity(middle) + Math.log(width) + (width * width * (middle * middle - 1)) / 24;
  }
  // The tail that is further out keeps its digits.
  if (low + high < 0) return normalLogBetween(-high, -low, width);
  if (low <= 0) return Math.log(1 - normalCumulative(low) - normalCumulative(-high));
  const logTail = normalLogSurvival(low);
  return logTail + logOneLessExp(logTail - normalLogSurvival(high));
}

const NORMAL: ErrorDistribution = {
  logDensity: normalLogDensity,
  logSurvival: normalLogSurvival,
  logCumulative: (z) => normalLogSurvival(-z),
  logBetween: normalLogBetween,
  slope: (z) => -z,
  curvature: () => -1,
  quantile: normalQuantile,
  mean: 0,
};

/** The error distribution that makes a time follow `distribution`. */
export function errorDistribution(distribution: TimeDistribution): ErrorDistribution {
  if (distribution === 'log-logistic') return LOGISTIC;
  if (distribution === 'log-normal') return NORMAL;
  return EXTREME_VALUE;
}
