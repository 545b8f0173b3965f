import type { TurnbullFit } from './turnbull';

type Curve = Pick<TurnbullFit, 'intervals'>;

/** Survival just after `time` and what is known of it where the curve is not defined. */
export interface SurvivalValue {
  /** Interpolated along a straight line inside an innermost interval. */
  readonly survival: number;
  /** The values at the two ends of the innermost interval around `time`; null outside all of them. */
  readonly undefinedWithin: { readonly lower: number; readonly upper: number } | null;
}

/**
 * The survival of a fitted curve at a time. Inside an innermost interval with mass the likelihood fixes only
 * the two ends; the value in between is read off the straight line that joins them, and both ends are given.
 * Inside the last interval, when it is unbounded, the value at its left end is kept.
 */
export function survivalAt(fit: Curve, time: number): SurvivalValue {
  let survival = 1;
  for (const { left, right, mass } of fit.intervals) {
    if (time >= right) {
      survival -= mass;
      continue;
    }
    if (time <= left || mass === 0) break;
    const end = Math.max(0, survival - mass);
    const undefinedWithin = { lower: end, upper: survival };
    if (right === Infinity) return { survival: Math.max(0, survival), undefinedWithin };
    return { survival: survival - (mass * (time - left)) / (right - left), undefinedWithin };
  }
  return { survival: Math.max(0, survival), undefinedWithin: null };
}

/** Where a quantile lies: after `after` and not later than `by`; `by` is null where nothing bounds it. */
export interface QuantilePlace {
  readonly after: number;
  readonly by: number | null;
}

/** A total of masses this near to a probability counts as having reached it. */
const ROUNDING = 1e-9;

/**
 * The innermost interval in which the distribution function first reaches `probability`: the likelihood says no more
 * about the quantile than that it lies there. The median is the quantile of 0.5.
 *
 * @param probability in (0, 1), of the event having happened
 */
export function quantilePlace(fit: Curve, probability: number): QuantilePlace {
  let reached = 0;
  for (const { left, right, mass } of fit.intervals) {
    reached += mass;
    if (mass > 0 && reached >= probability - ROUNDING) {
      return { after: left, by: right === Infinity ? null : right };
    }
  }
  return { after: fit.intervals.at(-1)?.left ?? 0, by: null };
}

/** Mean time free of the event until `until`, and how far the undefined parts of the curve can move it. */
export interface RestrictedMeanBounds {
  /** Area under the curve as `survivalAt` reads it. */
  readonly mean: number;
  /** All mass at the left ends of the innermost intervals. */
  readonly lower: number;
  /** All mass at their right ends. */
  readonly upper: number;
}

/**
 * The restricted mean of a curve: the expectation of the smaller of the time and `until`, with its bounds over all
 * places the mass may have inside the innermost intervals. Source: Irwin 1949, for the restricted mean.
 */
export function restrictedMeanBounds(fit: Curve, until: number): RestrictedMeanBounds {
  let mean = 0;
  let lower = 0;
  let upper = 0;
  for (const { left, right, mass } of fit.intervals) {
    lower += mass * Math.min(left, until);
    upper += mass * Math.min(right, until);
    mean += mass * meanInside(left, right, until);
  }
  return { mean, lower, upper };
}

/** Mean of the smaller of `until` and a time spread evenly over (left, right]; an open interval keeps its mass to the end. */
function meanInside(left: number, right: number, until: number): number {
  if (right <= until) return left / 2 + right / 2;
  if (left >= until || right === Infinity) return until;
  const inside = (until - left) / (right - left);
  return inside * (left / 2 + until / 2) + (1 - inside) * until;
}
