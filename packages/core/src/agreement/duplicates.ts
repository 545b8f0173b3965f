import { chiSquaredQuantile, mean, sampleVariance, studentTwoSidedP } from '../numeric';

/** Method error from duplicate readings. Unit of the measure. */
export interface DuplicateError {
  readonly pairs: number;
  /** Dahlberg's error, sqrt(sum d^2 / 2n), with its chi-squared interval. */
  readonly dahlberg: number;
  readonly dahlbergLimits: { readonly lower: number; readonly upper: number };
  /** Method of moments, SD(d)/sqrt(2): free of a constant difference between first and second reading. */
  readonly moments: number;
  /** Mean difference, second minus first, with the two-sided p of the paired t test of no bias. */
  readonly bias: number;
  readonly biasP: number;
}

/** The first and the second reading of one thing by one examiner. */
export type DuplicatePair = readonly [first: number, second: number];

/**
 * Method error of one measure from duplicate readings.
 * The interval of Dahlberg's error takes sum d^2 / (2 sigma^2) as chi-squared on n degrees of freedom, which
 * holds when there is no bias between readings.
 * Sources: Dahlberg 1940; Springate 2012 (moments, and why 25 to 30 pairs are needed); Houston 1983 (bias).
 *
 * @returns null for fewer than two pairs, which carry no estimate of spread.
 */
export function duplicateError(pairs: readonly DuplicatePair[], level = 0.95): DuplicateError | null {
  const n = pairs.length;
  if (n < 2) return null;
  const differences = pairs.map(([first, second]) => second - first);
  const sumOfSquares = differences.reduce((sum, d) => sum + d * d, 0);
  const bias = mean(differences);
  const spread = Math.sqrt(sampleVariance(differences));
  const tail = (1 - level) / 2;
  return {
    pairs: n,
    dahlberg: Math.sqrt(sumOfSquares / (2 * n)),
    dahlbergLimits: {
      lower: Math.sqrt(sumOfSquares / 2 / chiSquaredQuantile(1 - tail, n)),
      upper: Math.sqrt(sumOfSquares / 2 / chiSquaredQuantile(tail, n)),
    },
    moments: spread / Math.SQRT2,
    bias,
    biasP: biasTest(bias, spread, n),
  };
}

function biasTest(bias: number, spread: number, n: number): number {
  if (spread === 0) return bias === 0 ? 1 : 0;
  return studentTwoSidedP(bias / (spread / Math.sqrt(n)), n - 1);
}

/** Smallest change of one patient that exceeds measurement error with 95 % confidence: 1.96 * sqrt(2) * sd. */
export function smallestDetectableChange(sd: number): number {
  return 1.96 * Math.SQRT2 * sd;
}
