import { checkColumn, READING, fQuantile, refuse, type Refusal } from '../numeric';
import { checkShare, largestSize } from './checks';
import { effectiveReplicates, rowsBySubject, subjectVariation, type SubjectLabel } from './subjects';
import { standardDeviationLimits, type Limits } from './variance-limits';

/** Spread of repeated readings of the same thing. Unit of the measure; variances in its square. */
export interface WithinSubjectSpread {
  readonly subjects: number;
  readonly readings: number;
  readonly level: number;
  /** Standard deviation of one reading about its subject's mean. */
  readonly withinSd: number;
  /** Degrees of freedom of `withinSd`: readings - subjects. */
  readonly df: number;
  /** Chi-squared limits of `withinSd`; null where it is 0. */
  readonly withinLimits: Limits | null;
  /** Variance of true values over subjects by the method of moments; below 0 where subjects differ less than error allows. */
  readonly betweenVariance: number;
  /** Readings a subject as they count between subjects; their number where it is the same for all. */
  readonly effectiveReplicates: number;
  /** Between variance / (between + within variance), ICC(1,1). */
  readonly reliability: number;
  /** F limits of the reliability, exact for equal numbers of readings; null where `withinSd` is 0. */
  readonly reliabilityLimits: Limits | null;
}

/**
 * Within-subject standard deviation from readings in any number, by one-way analysis of variance.
 * Subjects with a single reading count between subjects only.
 * Sources: Bland and Altman 1999, section 2; Snedecor and Cochran 1989, section 13.7 (unequal numbers);
 * Thomas and Hultquist 1978 (limits of the reliability with unequal numbers, here with the arithmetic in place of the
 * harmonic mean for the mean square).
 */
export function withinSubjectSpread(
  data: { readonly subject: ArrayLike<SubjectLabel>; readonly value: ArrayLike<number> },
  options: { readonly level?: number } = {},
): WithinSubjectSpread | Refusal {
  const { level = 0.95 } = options;
  const wrong = checkShare('level', level) ?? checkColumn('value', data.value, READING, data.subject.length);
  if (wrong !== null) return wrong;
  const variation = subjectVariation(rowsBySubject(data.subject), data.value, largestSize(data.value));
  const { subjects, values, betweenMeanSquare, withinMeanSquare } = variation;
  const df = values - subjects;
  if (subjects < 2) return refuse('too-few', `There is ${subjects} subject; at least 2 are needed.`);
  if (df < 1) return refuse('no-replicates', 'No subject has two readings; at least one must have.');
  if (betweenMeanSquare === 0 && withinMeanSquare === 0) {
    return refuse('no-variation', 'All readings are equal; no spread can be estimated.');
  }
  const replicates = effectiveReplicates(variation.counts);
  const withinSd = Math.sqrt(withinMeanSquare);
  const betweenVariance = (betweenMeanSquare - withinMeanSquare) / replicates;
  return {
    subjects,
    readings: values,
    level,
    withinSd,
    df,
    withinLimits: standardDeviationLimits(withinSd, df, level),
    betweenVariance,
    effectiveReplicates: replicates,
    reliability: betweenVariance / (betweenVariance + withinMeanSquare),
    reliabilityLimits:
      withinSd === 0
        ? null
        : reliabilityLimits(betweenMeanSquare / withinMeanSquare, subjects - 1, df, replicates, level),
  };
}

function reliabilityLimits(
  f: number,
  betweenDf: number,
  withinDf: number,
  replicates: number,
  level: number,
): Limits {
  const tail = (1 - level) / 2;
  const at = (ratio: number): number => (ratio - 1) / (ratio + replicates - 1);
  return {
    lower: at(f / fQuantile(1 - tail, betweenDf, withinDf)),
    upper: at(f / fQuantile(tail, betweenDf, withinDf)),
  };
}
