import { refuse, type Refusal } from '../../numeric';
import type { KaplanMeierCurve } from './kaplan-meier';

/** A time by which a given share has had the event. */
export interface SurvivalQuantile {
  /** The share: 0.5 for the median. */
  readonly probability: number;
  /** Null where the curve does not fall so far. */
  readonly time: number | null;
  /** Limits; null where the limit of the curve that gives it does not fall so far. */
  readonly lower: number | null;
  readonly upper: number | null;
}

/** Products of fractions meet a round probability only up to their rounding. */
const ROUNDING = 1e-9;

/**
 * Quantiles of the time to the event: the first time at which survival is 1 - p or less. Where survival is exactly
 * 1 - p over a stretch of time, its middle, as for the median of an even number of values; where the curve ends in
 * such a stretch, the middle of what was observed of it. Limits by turning the pointwise interval of the curve
 * around: they are the same quantile of the curve's lower and of its upper limit, at the level and scale of the curve.
 * Source: Brookmeyer and Crowley 1982.
 *
 * @param probabilities in (0, 1); default the median and both quartiles
 */
export function survivalQuantiles(
  curve: KaplanMeierCurve,
  probabilities: readonly number[] = [0.25, 0.5, 0.75],
): SurvivalQuantile[] | Refusal<'wrong-probability'> {
  const wrong = probabilities.findIndex((p) => !(p > 0 && p < 1));
  if (wrong >= 0) {
    return refuse(
      'wrong-probability',
      `probabilities[${wrong}] is ${probabilities[wrong]}; it must lie between 0 and 1, as 0.5 does for the median.`,
    );
  }
  return probabilities.map((probability) => ({
    probability,
    time: firstTimeAt(curve.time, curve.survival, 1 - probability),
    lower: firstTimeAt(curve.time, curve.lower, 1 - probability),
    upper: firstTimeAt(curve.time, curve.upper, 1 - probability),
  }));
}

/** The first time at which `values` are at `level` or below; entries that are null are passed over. */
function firstTimeAt(time: Float64Array, values: ArrayLike<number | null>, level: number): number | null {
  for (let i = 0; i < time.length; i++) {
    const value = values[i] ?? Infinity;
    if (value > level + ROUNDING) continue;
    const reached = time[i] ?? NaN;
    if (value < level - ROUNDING) return reached;
    const end = endOfStretch(values, i, level);
    return (reached + (time[end] ?? NaN)) / 2;
  }
  return null;
}

/** Where values that are at the level since position `from` leave it; the last position where they never do. */
function endOfStretch(values: ArrayLike<number | null>, from: number, level: number): number {
  let i = from + 1;
  for (; i < values.length; i++) if (Math.abs((values[i] ?? 0) - level) > ROUNDING) return i;
  return values.length - 1;
}
