import { mean, sampleVariance, twoSidedStudent } from '../numeric';
import type { Limits } from '../retention';

/** A difference of two means with its limits, in the unit of the values. */
export interface MeanDifference {
  /** Left mean minus right mean. */
  readonly estimate: number;
  readonly limits: Limits;
}

/**
 * The difference of the means of two independent groups whose variances may differ, with Welch's t interval.
 * Source: Welch 1947.
 *
 * @returns null where a group has fewer than two values
 */
export function welchDifference(
  left: readonly number[],
  right: readonly number[],
  level: number,
): MeanDifference | null {
  if (left.length < 2 || right.length < 2) return null;
  const [a, b] = [sampleVariance(left) / left.length, sampleVariance(right) / right.length];
  const estimate = mean(left) - mean(right);
  const df = (a + b) ** 2 / (a ** 2 / (left.length - 1) + b ** 2 / (right.length - 1));
  const reach = a + b > 0 ? twoSidedStudent(level, df) * Math.sqrt(a + b) : 0;
  return { estimate, limits: { lower: estimate - reach, upper: estimate + reach } };
}
