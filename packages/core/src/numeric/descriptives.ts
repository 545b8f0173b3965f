/** Arithmetic mean; NaN for an empty list. */
export function mean(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / values.length;
}

/** Sample covariance with divisor n - 1 of two equally long lists; n must be at least 2. */
export function sampleCovariance(x: readonly number[], y: readonly number[]): number {
  const meanX = mean(x);
  const meanY = mean(y);
  return x.reduce((sum, value, i) => sum + (value - meanX) * ((y[i] ?? NaN) - meanY), 0) / (x.length - 1);
}

/** Sample variance with divisor n - 1; n must be at least 2. */
export function sampleVariance(values: readonly number[]): number {
  return sampleCovariance(values, values);
}

/**
 * Quantile of a list sorted in rising order, by linear interpolation between order statistics
 * (type 7 of Hyndman and Fan 1996, the default of most software). NaN for an empty list.
 */
export function sortedQuantile(sorted: ArrayLike<number>, p: number): number {
  const position = (sorted.length - 1) * p;
  const below = Math.floor(position);
  const low = sorted[below] ?? NaN;
  const high = sorted[Math.min(below + 1, sorted.length - 1)] ?? NaN;
  return low + (position - below) * (high - low);
}

/** Variance of what resamples or draws gave, with divisor one less than their number; 0 for fewer than two. */
export function resampledVariance(draws: ArrayLike<number>): number {
  if (draws.length < 2) return 0;
  let sum = 0;
  for (let k = 0; k < draws.length; k++) sum += draws[k] ?? 0;
  const mean = sum / draws.length;
  let squares = 0;
  for (let k = 0; k < draws.length; k++) squares += ((draws[k] ?? 0) - mean) ** 2;
  return squares / (draws.length - 1);
}
