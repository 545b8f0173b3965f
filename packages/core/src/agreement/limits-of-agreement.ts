import {
  mean,
  noncentralStudentQuantile,
  refuse,
  sampleVariance,
  studentTwoSidedP,
  twoSidedNormal,
  twoSidedStudent,
  type Refusal,
} from '../numeric';
import { checkPairs, checkShare, pairDifferences } from './checks';
import type { DuplicateReadings } from './duplicates';
import { varianceLimits, type Limits } from './variance-limits';

/** One of the two limits of agreement, with two intervals for it. Unit of the measure. */
export interface AgreementLimit {
  readonly estimate: number;
  /** Exact under normal differences, from the noncentral t distribution (Carkeet 2015). Not symmetrical about the estimate. */
  readonly exact: Limits;
  /** estimate -+ t sqrt(SD^2 (1/n + z^2 / (2 (n - 1)))) (Bland and Altman 1999); too short outwards in small samples. */
  readonly approximate: Limits;
}

/** Bland and Altman's limits of agreement. Differences are second minus first, in the unit of the measure. */
export interface LimitsOfAgreement {
  readonly pairs: number;
  /** Share of differences that lie between the limits. */
  readonly share: number;
  readonly level: number;
  readonly bias: number;
  /** t limits on n - 1 degrees of freedom. */
  readonly biasLimits: Limits;
  /** Two-sided p of the paired t test of no bias. */
  readonly biasP: number;
  readonly sd: number;
  readonly sdLimits: Limits;
  readonly lower: AgreementLimit;
  readonly upper: AgreementLimit;
}

/**
 * Limits between which a share of the differences of two methods lies: bias -+ z SD, with z = 1.96 for 95 %.
 * Assumes one pair a subject and normal differences whose mean and spread do not depend on the size measured; look at
 * `differenceTrend` first.
 * Sources: Bland and Altman 1986, 1999; Carkeet 2015 (exact limits).
 *
 * @param options.share of differences between the limits; 0.95
 * @param options.level confidence of the intervals about each limit; 0.95
 */
export function limitsOfAgreement(
  { first, second }: DuplicateReadings,
  options: { readonly share?: number; readonly level?: number } = {},
): LimitsOfAgreement | Refusal {
  const { share = 0.95, level = 0.95 } = options;
  const wrong = checkShare('share', share) ?? checkShare('level', level) ?? checkPairs(first, second, 2);
  if (wrong !== null) return wrong;
  const differences = pairDifferences(first, second);
  if (differences.every((d) => d === differences[0])) {
    return refuse(
      'no-variation',
      `All differences are ${differences[0]}; limits need differences that vary.`,
    );
  }
  const n = differences.length;
  const bias = mean(differences);
  const sd = Math.sqrt(sampleVariance(differences));
  const variance = varianceLimits(sd * sd, n - 1, level);
  const biasError = sd / Math.sqrt(n);
  const half = twoSidedStudent(level, n - 1) * biasError;
  const z = twoSidedNormal(share);
  const reach = twoSidedStudent(level, n - 1) * sd * Math.sqrt(1 / n + (z * z) / (2 * (n - 1)));
  const [near, far] = toleranceFactors(n, z, level);
  const around = (estimate: number): Limits => ({ lower: estimate - reach, upper: estimate + reach });
  return {
    pairs: n,
    share,
    level,
    bias,
    biasLimits: { lower: bias - half, upper: bias + half },
    biasP: studentTwoSidedP(bias / biasError, n - 1),
    sd,
    sdLimits: { lower: Math.sqrt(variance.lower), upper: Math.sqrt(variance.upper) },
    lower: {
      estimate: bias - z * sd,
      exact: { lower: bias - far * sd, upper: bias - near * sd },
      approximate: around(bias - z * sd),
    },
    upper: {
      estimate: bias + z * sd,
      exact: { lower: bias + near * sd, upper: bias + far * sd },
      approximate: around(bias + z * sd),
    },
  };
}

/** Multiples of the SD at which the two ends of the exact interval of mean + z sigma lie from the mean. */
function toleranceFactors(n: number, z: number, level: number): readonly [near: number, far: number] {
  const root = Math.sqrt(n);
  const tail = (1 - level) / 2;
  const at = (p: number): number => noncentralStudentQuantile(p, n - 1, z * root) / root;
  return [at(tail), at(1 - tail)];
}
