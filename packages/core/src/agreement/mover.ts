import { chiSquaredQuantile, fQuantile } from '../numeric';
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
 * Limits of the difference of two independent mean squares, each with its positive weight: the modified large-sample
 * method, exact where one of the two is 0 and consistent with the F test of their equality. The limits may lie below 0.
 * Source: Ting, Burdick, Graybill, Jeyaratnam and Lu 1990; Burdick and Graybill 1992, section 3.3 (from memory).
 */
export function differenceOfMeanSquaresLimits(
  plus: WeightedMeanSquare,
  minus: WeightedMeanSquare,
  level: number,
): Limits {
  const tail = (1 - level) / 2;
  const first = plus.weight * plus.meanSquare;
  const second = minus.weight * minus.meanSquare;
  const reach = (p: number): number => {
    const own = chiSquaredQuantile(p, plus.df) / plus.df;
    const other = chiSquaredQuantile(1 - p, minus.df) / minus.df;
    const both = fQuantile(p, plus.df, minus.df);
    const ownReach = 1 - 1 / own;
    const otherReach = 1 / other - 1;
    const cross = ((both - 1) ** 2 - (ownReach * both) ** 2 - otherReach ** 2) / both;
    // Rounding, or many more degrees of freedom on one side, can bring this just below 0.
    return Math.sqrt(
      Math.max(0, (ownReach * first) ** 2 + (otherReach * second) ** 2 + cross * first * second),
    );
  };
  const difference = first - second;
  return { lower: difference - reach(1 - tail), upper: difference + reach(tail) };
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
