import type { IntervalLikelihood } from './innermost-intervals';

/** The likelihood at one place: masses of the innermost intervals and what follows from them. */
export interface MassPlace {
  /** One for each innermost interval; they sum to 1. */
  readonly masses: Float64Array;
  /** Probability of each observation. */
  readonly probability: Float64Array;
  /** -Infinity where an observation is impossible. */
  readonly logLikelihood: number;
}

/** Probability of every observation and their log-likelihood. Cost: linear in observations and intervals. */
export function placeAt(likelihood: IntervalLikelihood, masses: Float64Array): MassPlace {
  const { first, last, count } = likelihood;
  const totals = new Float64Array(masses.length + 1);
  let sum = 0;
  for (let j = 0; j < masses.length; j++) totals[j + 1] = sum += masses[j] ?? 0;
  const probability = new Float64Array(count.length);
  let logLikelihood = 0;
  for (let i = 0; i < count.length; i++) {
    const from = first[i] ?? 0;
    const to = last[i] ?? 0;
    // A single mass keeps all its digits; the difference of two totals does not.
    const p = from === to ? (masses[from] ?? 0) : (totals[to + 1] ?? 0) - (totals[from] ?? 0);
    probability[i] = p;
    logLikelihood += (count[i] ?? 0) * Math.log(p > 0 ? p : 0);
  }
  return { masses, probability, logLikelihood };
}

/**
 * Derivative of the log-likelihood in each mass, divided by the number of observations. At the maximum it is 1
 * where there is mass and at most 1 elsewhere (the Karush-Kuhn-Tucker conditions; Gentleman and Geyer 1994).
 */
export function massGradient(
  likelihood: IntervalLikelihood,
  { masses, probability }: MassPlace,
): Float64Array {
  const { first, last, count, total } = likelihood;
  const change = new Float64Array(masses.length + 1);
  for (let i = 0; i < count.length; i++) {
    const share = (count[i] ?? 0) / (probability[i] ?? 0) / total;
    const from = first[i] ?? 0;
    const after = (last[i] ?? 0) + 1;
    change[from] = (change[from] ?? 0) + share;
    change[after] = (change[after] ?? 0) - share;
  }
  for (let j = 1; j < change.length; j++) change[j] = (change[j] ?? 0) + (change[j - 1] ?? 0);
  return change.subarray(0, masses.length);
}

/** How far the log-likelihood can at most lie below its maximum, per observation: it is concave in the masses. */
export function gapOf(gradient: Float64Array): number {
  let largest = 0;
  for (let j = 0; j < gradient.length; j++) largest = Math.max(largest, (gradient[j] ?? 0) - 1);
  return largest;
}
