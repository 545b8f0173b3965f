import type { ErrorDistribution } from './error-distributions';

/**
 * What one observation gives to the log-likelihood as a function of its standardised ends `low` and `high`:
 * the value, the derivatives in both ends, and the second derivatives. An exact time has its end at `high` only;
 * an end at infinity has derivatives 0.
 */
export interface Contribution {
  value: number;
  atLow: number;
  atHigh: number;
  lowLow: number;
  highHigh: number;
  lowHigh: number;
}

export function emptyContribution(): Contribution {
  return { value: 0, atLow: 0, atHigh: 0, lowLow: 0, highHigh: 0, lowHigh: 0 };
}

/**
 * Writes the contribution of an observation. For a censored one the value is log(F(high) - F(low)); with `exact` it
 * is the log density at `high`.
 *
 * @param low -Infinity for a left-censored time
 * @param high Infinity for a right-censored time
 */
export function contribute(
  into: Contribution,
  error: ErrorDistribution,
  low: number,
  high: number,
  exact: boolean,
): void {
  into.atLow = into.lowLow = into.lowHigh = into.atHigh = into.highHigh = 0;
  if (exact) {
    into.value = error.logDensity(high);
    into.atHigh = error.slope(high);
    into.highHigh = error.curvature(high);
    return;
  }
  const value = logProbability(error, low, high);
  into.value = value;
  if (high < Infinity) {
    const ratio = Math.exp(error.logDensity(high) - value);
    into.atHigh = ratio;
    into.highHigh = ratio * (error.slope(high) - ratio);
  }
  if (low > -Infinity) {
    const ratio = Math.exp(error.logDensity(low) - value);
    into.atLow = -ratio;
    into.lowLow = -ratio * (error.slope(low) + ratio);
    into.lowHigh = into.atHigh * ratio;
  }
}

function logProbability(error: ErrorDistribution, low: number, high: number): number {
  if (low === -Infinity) return high === Infinity ? 0 : error.logCumulative(high);
  return high === Infinity ? error.logSurvival(low) : error.logBetween(low, high);
}
