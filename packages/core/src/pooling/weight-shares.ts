/** Weights as shares that add up to 1. */
export function sharesOf(weights: Float64Array): number[] {
  const total = weights.reduce((sum, weight) => sum + weight, 0);
  return Array.from(weights, (weight) => weight / total);
}
