import { twoSidedNormal } from '../numeric';
import type { Sex } from '../records';
import {
  estimateContrast,
  gainContrast,
  growthCovariance,
  measurementCovariance,
  type CoursePoint,
  type Yardstick,
} from './course';
import { fiellerInterval, type RatioInterval } from '../ratio';

/** Lower and upper confidence limits, in the unit of the estimate. */
export interface Limits {
  readonly lower: number;
  readonly upper: number;
}

/** An adjusted gain A(t) with its two uncertainties kept apart. Unit of the measure. */
export interface AdjustedGain {
  readonly estimate: number;
  readonly measurementSd: number;
  readonly growthSd: number;
  /** Two-sided, both uncertainties together. */
  readonly limits: Limits;
}

/** The gain between the start and a later value, beyond what the child would have been expected to grow. */
export function adjustedGain(
  start: CoursePoint,
  now: CoursePoint,
  sex: Sex,
  yardstick: Yardstick,
  level: number,
): AdjustedGain {
  const { estimate, measurementVariance, growthVariance } = estimateContrast(
    gainContrast(start, now),
    sex,
    yardstick,
  );
  const reach = twoSidedNormal(level) * Math.sqrt(measurementVariance + growthVariance);
  return {
    estimate,
    measurementSd: Math.sqrt(measurementVariance),
    growthSd: Math.sqrt(growthVariance),
    limits: { lower: estimate - reach, upper: estimate + reach },
  };
}

/** A gain is measurable when its lower limit lies above zero; only then does a share of it mean anything. */
export function isMeasurable(gain: AdjustedGain): boolean {
  return gain.limits.lower > 0;
}

/** Retained share A(t) / A(0) of one patient with Fieller's interval; both gains share the start value. */
export function retainedShare(
  points: { readonly start: CoursePoint; readonly end: CoursePoint; readonly now: CoursePoint },
  sex: Sex,
  yardstick: Yardstick,
  level: number,
): { readonly estimate: number; readonly interval: RatioInterval } {
  const later = gainContrast(points.start, points.now);
  const first = gainContrast(points.start, points.end);
  const numerator = estimateContrast(later, sex, yardstick);
  const denominator = estimateContrast(first, sex, yardstick);
  const interval = fiellerInterval(
    {
      numerator: numerator.estimate,
      denominator: denominator.estimate,
      numeratorVariance: numerator.measurementVariance + numerator.growthVariance,
      denominatorVariance: denominator.measurementVariance + denominator.growthVariance,
      covariance:
        measurementCovariance(later, first, yardstick) + growthCovariance(later, first, sex, yardstick),
    },
    twoSidedNormal(level),
  );
  return { estimate: numerator.estimate / denominator.estimate, interval };
}
