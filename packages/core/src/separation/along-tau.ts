import { fiellerInterval, type RatioInterval } from '../ratio';
import type { Limits } from '../retention';
import type { Covariance } from './two-part-model';

/** The parts with tau held at one value, and how much worse that value fits than the best. */
export interface TauPoint {
  /** Years. */
  readonly tau: number;
  /** By how much the full log-likelihood lies below its maximum. */
  readonly fall: number;
  /** Estimates of T and P, unit of the measure, with their covariance. */
  readonly lasting: number;
  readonly passing: number;
  readonly covariance: Covariance;
}

/** The taus that the data leave open at a level, from the shortest to the longest. */
export interface AlongTau {
  /** Closer together towards both ends, where the limits at a tau shrink fast: what follows from them is smooth in their order. */
  readonly points: readonly TauPoint[];
  /** The two-sided quantile of the level, Student's with the smaller degrees of freedom of T and P. */
  readonly multiplier: number;
}

/**
 * Limits of a T + b P over all taus that the data leave open: the smallest and largest value that has, at some tau,
 * (estimate - value)^2 / variance + 2 fall <= multiplier^2. That is the profile likelihood, with the likelihood at each
 * tau as a parabola and Student's quantile in place of the normal one. Estimate and error at the best tau alone
 * would be far too narrow where tau is long against the follow-up.
 * Source: Meeker and Escobar 1995 (profile likelihood), from memory.
 *
 * @param weights a and b at a tau
 */
export function limitsAlongTau(
  { points, multiplier }: AlongTau,
  weights: (tau: number) => readonly [lasting: number, passing: number],
): Limits {
  const ends = points.map((point) => {
    const [a, b] = weights(point.tau);
    const estimate = a * point.lasting + b * point.passing;
    const { lasting, both, passing } = point.covariance;
    const variance = a * a * lasting + 2 * a * b * both + b * b * passing;
    const reach = Math.sqrt(variance) * leftOf(point, multiplier);
    return { lower: estimate - reach, upper: estimate + reach };
  });
  return {
    lower: -peakOf(ends.map(({ lower }) => -lower)),
    upper: peakOf(ends.map(({ upper }) => upper)),
  };
}

/** What a tau that fits worse leaves of the multiplier. */
function leftOf({ fall }: TauPoint, multiplier: number): number {
  return Math.sqrt(Math.max(0, multiplier * multiplier - 2 * fall));
}

/** Confidence set of T / (T + P) over all taus that the data leave open; the whole line where one of them bounds nothing. */
export function shareAlongTau({ points, multiplier }: AlongTau): RatioInterval {
  const lower: number[] = [];
  const upper: number[] = [];
  for (const point of points) {
    const { lasting, both, passing } = point.covariance;
    const set = fiellerInterval(
      {
        numerator: point.lasting,
        denominator: point.lasting + point.passing,
        numeratorVariance: lasting,
        denominatorVariance: lasting + 2 * both + passing,
        covariance: lasting + both,
      },
      leftOf(point, multiplier),
    );
    if (set.kind !== 'bounded') return { kind: 'whole-line' };
    lower.push(-set.lower);
    upper.push(set.upper);
  }
  return { kind: 'bounded', lower: -peakOf(lower), upper: peakOf(upper) };
}

/** The highest value of a smooth function known at even steps: the top of the parabola through the best three. */
function peakOf(values: readonly number[]): number {
  const best = values.reduce((top, value, i) => (value > (values[top] ?? NaN) ? i : top), 0);
  const value = values[best] ?? NaN;
  const [left, right] = [values[best - 1], values[best + 1]];
  if (left === undefined || right === undefined) return value;
  const bend = left - 2 * value + right;
  return bend < 0 ? value - (right - left) ** 2 / (8 * bend) : value;
}
