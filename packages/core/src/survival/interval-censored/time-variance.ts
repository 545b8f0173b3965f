import { cholesky, solveLower, solveUpper } from '../../numeric';

/** Standard error of -beta/sigma by the delta method, with log sigma the last parameter. */
export function logHazardError(
  beta: number,
  scale: number,
  covariance: Float64Array,
  size: number,
  j: number,
): number {
  const scaleAt = size - 1;
  const inBeta = -1 / scale;
  const inScale = beta / scale;
  const variance =
    inBeta * inBeta * (covariance[j * size + j] ?? 0) +
    2 * inBeta * inScale * (covariance[scaleAt * size + j] ?? 0) +
    inScale * inScale * (covariance[scaleAt * size + scaleAt] ?? 0);
  return Math.sqrt(Math.max(0, variance));
}

/** The sandwich: naive variance, sum over clusters of squared scores, naive variance. */
export function sandwich(
  naive: Float64Array,
  scores: Float64Array,
  size: number,
  labels: ArrayLike<string | number>,
): Float64Array {
  const sums = new Map<string | number, Float64Array>();
  for (let i = 0; i < labels.length; i++) {
    const label = labels[i] ?? i;
    const sum = sums.get(label) ?? new Float64Array(size);
    for (let j = 0; j < size; j++) sum[j] = (sum[j] ?? 0) + (scores[i * size + j] ?? 0);
    sums.set(label, sum);
  }
  const covariance = new Float64Array(size * size);
  for (const sum of sums.values()) {
    const influence = new Float64Array(size);
    for (let j = 0; j < size; j++) {
      for (let k = 0; k < size; k++)
        influence[j] = (influence[j] ?? 0) + (naive[j * size + k] ?? 0) * (sum[k] ?? 0);
    }
    for (let j = 0; j < size; j++) {
      for (let k = 0; k < size; k++) {
        covariance[j * size + k] =
          (covariance[j * size + k] ?? 0) + (influence[j] ?? 0) * (influence[k] ?? 0);
      }
    }
  }
  return covariance;
}

/** Chi-squared statistic of the hypothesis that `df` neighbouring coefficients are all 0; 0 where their covariance is singular. */
export function waldStatistic(
  coefficients: Float64Array,
  covariance: Float64Array,
  size: number,
  from: number,
  df: number,
): number {
  const block = new Float64Array(df * df);
  for (let j = 0; j < df; j++) {
    for (let k = 0; k < df; k++) block[j * df + k] = covariance[(from + j) * size + from + k] ?? 0;
  }
  const estimates = coefficients.slice(from, from + df);
  const factor = cholesky(block, df);
  if (factor === null) return 0;
  const solved = solveUpper(factor, df, solveLower(factor, df, estimates.slice()));
  return estimates.reduce((sum, value, j) => sum + value * (solved[j] ?? 0), 0);
}
