import { chiSquaredQuantile } from '../numeric';
import type { Limits } from './variance-limits';

/** A mean square that counts `weight` times, on its own degrees of freedom. */
export interface WeightedMeanSquare {
  readonly weight: number;
  readonly meanSquare: number;
  readonly df: number;
}

/**
 * Limits of a sum of independent mean squares with positive weights, by recovering from the chi-squared limits of each
 * how far it reaches on either side. Sources: Zou 2013; Graybill and Wang 1980 (the same limits).
 */
export function sumOfMeanSquaresLimits(parts: readonly WeightedMeanSquare[], level: number): Limits {
  const tail = (1 - level) / 2;
  const total = parts.reduce((sum, { weight, meanSquare }) => sum + weight * meanSquare, 0);
  const reach = (p: number): number =>
    Math.sqrt(
      parts.reduce((sum, { weight, meanSquare, df }) => {
        return sum + (weight * meanSquare * (1 - df / chiSquaredQuantile(p, df))) ** 2;
      }, 0),
    );
  return { lower: Math.max(0, total - reach(1 - tail)), upper: total + reach(tail) };
}

/**
 * Limits of mean + multiplier * SD from limits of the mean and of the SD that are independent.
 * Source: Zou 2013.
 *
 * @param multiplier of either sign
 */
export function meanPlusSpreadLimits(
  mean: { readonly estimate: number } & Limits,
  sd: { readonly estimate: number } & Limits,
  multiplier: number,
): Limits {
  const centre = mean.estimate + multiplier * sd.estimate;
  const towards = multiplier > 0 ? sd.lower : sd.upper;
  const away = multiplier > 0 ? sd.upper : sd.lower;
  return {
    lower: centre - Math.hypot(mean.estimate - mean.lower, multiplier * (sd.estimate - towards)),
    upper: centre + Math.hypot(mean.upper - mean.estimate, multiplier * (away - sd.estimate)),
  };
}
