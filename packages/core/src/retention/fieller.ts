/**
 * Confidence set of a ratio. `bounded`: [lower, upper]. `unbounded`: everything outside the open interval
 * (lower, upper), when the denominator may be zero but the ratio is not free. `whole-line`: the data say nothing.
 */
export type RatioInterval =
  | { readonly kind: 'bounded'; readonly lower: number; readonly upper: number }
  | { readonly kind: 'unbounded'; readonly lower: number; readonly upper: number }
  | { readonly kind: 'whole-line' };

/** Two estimates with their variances and covariance, in the same unit (squared). */
export interface RatioInput {
  readonly numerator: number;
  readonly denominator: number;
  readonly numeratorVariance: number;
  readonly denominatorVariance: number;
  readonly covariance: number;
}

/**
 * Fieller's confidence set of numerator / denominator: all ratios r for which
 * (numerator - r denominator)^2 <= multiplier^2 var(numerator - r denominator).
 * Source: Fieller 1954.
 *
 * @param multiplier two-sided normal or t quantile of the wanted level
 */
export function fiellerInterval(input: RatioInput, multiplier: number): RatioInterval {
  const squared = multiplier * multiplier;
  const a = input.denominator ** 2 - squared * input.denominatorVariance;
  const b = input.numerator * input.denominator - squared * input.covariance;
  const c = input.numerator ** 2 - squared * input.numeratorVariance;
  const discriminant = b * b - a * c;
  if (discriminant < 0 || a === 0) return { kind: 'whole-line' };
  const root = Math.sqrt(discriminant);
  const ends = [(b - root) / a, (b + root) / a].sort((x, y) => x - y);
  const [lower = NaN, upper = NaN] = ends;
  return { kind: a > 0 ? 'bounded' : 'unbounded', lower, upper };
}
