/**
 * Confidence set of a ratio. `bounded`: [lower, upper]. `unbounded`: everything outside the open interval
 * (lower, upper), when the denominator may be zero but the ratio is not free. `at-least` and `at-most`: one side of one
 * end, when the denominator's own limit is exactly zero. `whole-line`: the data say nothing.
 */
export type RatioInterval =
  | { readonly kind: 'bounded'; readonly lower: number; readonly upper: number }
  | { readonly kind: 'unbounded'; readonly lower: number; readonly upper: number }
  | { readonly kind: 'at-least'; readonly lower: number }
  | { readonly kind: 'at-most'; readonly upper: number }
  | { readonly kind: 'whole-line' };

/** Two estimates with their variances and covariance, in the same unit (squared). */
export interface RatioInput {
  readonly numerator: number;
  readonly denominator: number;
  readonly numeratorVariance: number;
  readonly denominatorVariance: number;
  readonly covariance: number;
}

/** Two variances that cancel when formed from those of a `RatioInput`, and do not when formed from the data. */
export interface RatioResiduals {
  /** Variance of numerator - ratio * denominator at the estimated ratio. */
  readonly aboutRatio: number;
  /** Variance of what is left of the numerator after its regression on the denominator. */
  readonly aboutRegression: number;
}

/**
 * Fieller's confidence set of numerator / denominator: all ratios r for which
 * (numerator - r denominator)^2 <= multiplier^2 var(numerator - r denominator), that is a r^2 - 2 b r + c <= 0.
 * Source: Fieller 1954.
 *
 * @param multiplier two-sided normal or t quantile of the wanted level
 * @param residuals where the data are at hand: numerators nearly proportional to denominators then cost no digits
 */
export function fiellerInterval(
  input: RatioInput,
  multiplier: number,
  residuals?: RatioResiduals,
): RatioInterval {
  const { numerator, denominator, numeratorVariance, denominatorVariance, covariance } = input;
  const squared = multiplier * multiplier;
  const a = denominator ** 2 - squared * denominatorVariance;
  const b = numerator * denominator - squared * covariance;
  const c = numerator ** 2 - squared * numeratorVariance;
  // b^2 - a c, rearranged so that estimates without error leave exactly 0.
  const relative = residuals
    ? denominator ** 2 * residuals.aboutRatio
    : numerator ** 2 * denominatorVariance -
      2 * numerator * denominator * covariance +
      denominator ** 2 * numeratorVariance;
  const determinant = residuals
    ? denominatorVariance * residuals.aboutRegression
    : numeratorVariance * denominatorVariance - covariance ** 2;
  const discriminant = squared * (relative - squared * determinant);
  if (a <= 0 && discriminant < 0) return { kind: 'whole-line' };
  const root = Math.sqrt(Math.max(0, discriminant));
  // The root that adds two numbers of one sign; the other from the product of both, so that neither cancels.
  const larger = b < 0 ? b - root : b + root;
  if (larger === 0) return a > 0 ? { kind: 'bounded', lower: 0, upper: 0 } : { kind: 'whole-line' };
  const far = larger / a;
  const near = c / larger;
  if (!Number.isFinite(far)) {
    // -2 b r + c <= 0
    return larger > 0 ? { kind: 'at-least', lower: near } : { kind: 'at-most', upper: near };
  }
  return { kind: a > 0 ? 'bounded' : 'unbounded', lower: Math.min(near, far), upper: Math.max(near, far) };
}

/** Whether a ratio lies in a set. */
export function ratioIsIn(set: RatioInterval, ratio: number): boolean {
  switch (set.kind) {
    case 'bounded':
      return set.lower <= ratio && ratio <= set.upper;
    case 'unbounded':
      return ratio <= set.lower || ratio >= set.upper;
    case 'at-least':
      return ratio >= set.lower;
    case 'at-most':
      return ratio <= set.upper;
    case 'whole-line':
      return true;
  }
}
