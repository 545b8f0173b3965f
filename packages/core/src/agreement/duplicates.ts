import { isRefusal, mean, sampleVariance, studentTwoSidedP, twoSidedStudent, type Refusal } from '../numeric';
import { checkPairs, checkShare, pairDifferences } from './checks';
import { standardDeviationLimits, type Limits } from './variance-limits';

/** Two readings of each of n things by one examiner. */
export interface DuplicateReadings {
  readonly first: ArrayLike<number>;
  readonly second: ArrayLike<number>;
}

/** Method error of duplicate readings, in the unit of the measure. */
export interface DuplicateSpread {
  readonly pairs: number;
  readonly level: number;
  /** Dahlberg's error, sqrt(sum d^2 / 2n). A bias between readings inflates it. */
  readonly dahlberg: number;
  /** Chi-squared limits on n degrees of freedom, right only where there is no bias; null where all pairs agree. */
  readonly dahlbergLimits: Limits | null;
  /** Method of moments, SD(d) / sqrt(2): free of a constant difference between first and second reading. */
  readonly moments: number;
  /** Chi-squared limits on n - 1 degrees of freedom, right with and without bias; null where all d are equal. */
  readonly momentsLimits: Limits | null;
  /** Mean difference, second minus first. */
  readonly bias: number;
  /** t limits of the bias on n - 1 degrees of freedom. */
  readonly biasLimits: Limits;
  /** t of the paired test of no bias; null where all differences are equal and no test can be made. */
  readonly biasT: number | null;
  /** Its two-sided p; null with `biasT`. */
  readonly biasP: number | null;
  /** Whether p is below 0.10, where Houston 1983 advises to look for a cause; true where all d are one non-zero number. */
  readonly biasSuspected: boolean;
}

/** Below this p of the paired t test a bias is suspected. Source: Houston 1983, from memory. */
const BIAS_SUSPECTED_BELOW = 0.1;

/**
 * Method error from duplicate readings: Dahlberg's error, the method of moments, and the bias between readings.
 * Limits of both errors take differences as normal and pairs as independent.
 * Sources: Dahlberg 1940; Springate 2012 (moments, and why 25 to 30 pairs are needed); Houston 1983 (bias).
 *
 * @returns a refusal for fewer than two pairs, unequal lengths, or a reading that is no number
 */
export function duplicateSpread(
  { first, second }: DuplicateReadings,
  options: { readonly level?: number } = {},
): DuplicateSpread | Refusal {
  const { level = 0.95 } = options;
  const wrong = checkShare('level', level) ?? checkPairs(first, second, 2);
  if (wrong !== null) return wrong;
  const n = first.length;
  const differences = pairDifferences(first, second);
  const dahlberg = Math.sqrt(differences.reduce((sum, d) => sum + d * d, 0) / (2 * n));
  const equal = differences.every((d) => d === differences[0]);
  const sd = equal ? 0 : Math.sqrt(sampleVariance(differences));
  const bias = mean(differences);
  const biasError = sd / Math.sqrt(n);
  const half = twoSidedStudent(level, n - 1) * biasError;
  const biasT = equal ? null : bias / biasError;
  const biasP = biasT === null ? null : studentTwoSidedP(biasT, n - 1);
  return {
    pairs: n,
    level,
    dahlberg,
    dahlbergLimits: standardDeviationLimits(dahlberg, n, level),
    moments: sd / Math.SQRT2,
    momentsLimits: standardDeviationLimits(sd / Math.SQRT2, n - 1, level),
    bias,
    biasLimits: { lower: bias - half, upper: bias + half },
    biasT,
    biasP,
    biasSuspected: biasP === null ? bias !== 0 : biasP < BIAS_SUSPECTED_BELOW,
  };
}

/** Method error as the answers carry it. Unit of the measure. */
export interface DuplicateError {
  readonly pairs: number;
  /** Dahlberg's error, sqrt(sum d^2 / 2n), with its chi-squared interval. */
  readonly dahlberg: number;
  readonly dahlbergLimits: Limits;
  /** Method of moments, SD(d)/sqrt(2): free of a constant difference between first and second reading. */
  readonly moments: number;
  /** Mean difference, second minus first, with the two-sided p of the paired t test of no bias. */
  readonly bias: number;
  readonly biasP: number;
}

/** The first and the second reading of one thing by one examiner. */
export type DuplicatePair = readonly [first: number, second: number];

/**
 * Method error of one measure from duplicate readings of a study; `duplicateSpread` in short. Where all pairs agree
 * the limits are both 0; where all differences are equal the p of no bias is 1 or 0.
 *
 * @returns null for fewer than two pairs, which carry no estimate of spread.
 */
export function duplicateError(pairs: readonly DuplicatePair[], level = 0.95): DuplicateError | null {
  const first = pairs.map(([value]) => value);
  const second = pairs.map(([, value]) => value);
  const spread = duplicateSpread({ first, second }, { level });
  if (isRefusal(spread)) return null;
  const { dahlberg, moments, bias } = spread;
  return {
    pairs: spread.pairs,
    dahlberg,
    dahlbergLimits: spread.dahlbergLimits ?? { lower: 0, upper: 0 },
    moments,
    bias,
    biasP: spread.biasP ?? (bias === 0 ? 1 : 0),
  };
}
