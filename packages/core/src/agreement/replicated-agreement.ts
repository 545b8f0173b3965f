import { checkColumn, READING, refuse, twoSidedNormal, twoSidedStudent, type Refusal } from '../numeric';
import { checkShare, largestSize, pairDifferences } from './checks';
import { meanPlusSpreadLimits, sumOfMeanSquaresLimits, type WeightedMeanSquare } from './mover';
import {
  effectiveReplicates,
  rowsBySubject,
  subjectVariation,
  type SubjectLabel,
  type SubjectVariation,
  withoutRounding,
} from './subjects';
import type { Limits } from './variance-limits';

/** Limits of agreement from several readings of each subject. Differences are second minus first, unit of the measure. */
export interface ReplicatedAgreement {
  readonly subjects: number;
  /** Pairs where readings are paired; readings of both methods together where they are not. */
  readonly readings: number;
  readonly share: number;
  readonly level: number;
  readonly bias: number;
  readonly biasLimits: Limits;
  /** Of the difference between one reading by each method: sqrt of the variances below, summed as the model says. */
  readonly sd: number;
  readonly sdLimits: Limits;
  /** Variance of the differences over subjects beyond replication; may be below 0. Squared unit. */
  readonly betweenVariance: number;
  /** Variance of a difference (paired) or of a reading by each method (not paired) within subjects. Squared unit. */
  readonly withinVariances: readonly number[];
  readonly lower: { readonly estimate: number } & Limits;
  readonly upper: { readonly estimate: number } & Limits;
}

/** How subjects with unequal numbers of pairs are weighed. */
export type ReplicateWeighing = 'pairs' | 'subjects';

interface Options {
  readonly share?: number;
  readonly level?: number;
}

/**
 * Limits of agreement where the true value varies from one pair of readings to the next, each pair taken together.
 * `weighing`: 'pairs' weighs every pair alike and takes variances from the one-way analysis of variance of the
 * differences (Bland and Altman 2007), the default; 'subjects' weighs every subject alike (Zou 2013). The same where
 * all subjects have equally many pairs. Intervals by recovery of variances, exact in neither case.
 * Sources: Bland and Altman 2007; Zou 2013.
 */
export function varyingTruthAgreement(
  data: {
    readonly subject: ArrayLike<SubjectLabel>;
    readonly first: ArrayLike<number>;
    readonly second: ArrayLike<number>;
  },
  options: Options & { readonly weighing?: ReplicateWeighing } = {},
): ReplicatedAgreement | Refusal {
  const { share = 0.95, level = 0.95, weighing = 'pairs' } = options;
  const wrong =
    checkShare('share', share) ??
    checkShare('level', level) ??
    checkColumn('first', data.first, READING, data.subject.length) ??
    checkColumn('second', data.second, READING, data.subject.length);
  if (wrong !== null) return wrong;
  const differences = pairDifferences(data.first, data.second);
  const size = Math.max(largestSize(data.first), largestSize(data.second));
  const variation = subjectVariation(rowsBySubject(data.subject), differences, size);
  const refusal = checkReplicates(variation, 'pairs of readings');
  if (refusal !== null) return refusal;
  const { subjects, values, withinMeanSquare } = variation;
  const between =
    weighing === 'pairs' ? betweenByPairs(variation) : betweenBySubjects([variation], variation.means, size);
  return assemble({
    ...between,
    subjects,
    readings: values,
    share,
    level,
    within: [
      { weight: 1 - between.inverseReplicates[0], meanSquare: withinMeanSquare, df: values - subjects },
    ],
    withinVariances: [withinMeanSquare],
  });
}

/**
 * Limits of agreement where a subject's true value stays the same over all its readings, which need not be paired nor
 * equally many. `method` is 'first' or 'second' in each row.
 * Bias is the mean over subjects of the difference between the two methods' means.
 * Sources: Bland and Altman 1999, section 5.1; 2007; Zou 2013.
 */
export function constantTruthAgreement(
  data: {
    readonly subject: ArrayLike<SubjectLabel>;
    readonly method: ArrayLike<'first' | 'second'>;
    readonly value: ArrayLike<number>;
  },
  options: Options = {},
): ReplicatedAgreement | Refusal {
  const { share = 0.95, level = 0.95 } = options;
  const wrong =
    checkShare('share', share) ??
    checkShare('level', level) ??
    checkColumn('value', data.value, READING, data.subject.length);
  if (wrong !== null) return wrong;
  if (data.method.length !== data.subject.length) {
    return refuse(
      'wrong-length',
      `method has ${data.method.length} entries where ${data.subject.length} are needed.`,
    );
  }
  const groups = rowsBySubject(data.subject);
  const of = (method: 'first' | 'second'): SubjectVariation =>
    subjectVariation(
      groups.map((rows) => rows.filter((row) => data.method[row] === method)),
      data.value,
      largestSize(data.value),
    );
  const first = of('first');
  const second = of('second');
  const alone = groups.findIndex((_, i) => first.counts[i] === 0 || second.counts[i] === 0);
  if (alone >= 0) {
    const label = data.subject[groups[alone]?.[0] ?? 0] ?? '';
    return refuse(
      'one-method',
      `Subject ${label} was read by one method only; each subject needs both methods.`,
    );
  }
  const refusal =
    checkReplicates(first, 'readings by the first method') ??
    checkReplicates(second, 'readings by the second method');
  if (refusal !== null) return refusal;
  const between = betweenBySubjects(
    [first, second],
    first.means.map((mean, i) => (second.means[i] ?? NaN) - mean),
    largestSize(data.value),
  );
  return assemble({
    ...between,
    subjects: groups.length,
    readings: data.subject.length,
    share,
    level,
    within: [first, second].map(({ values, subjects, withinMeanSquare }, i) => ({
      weight: 1 - (between.inverseReplicates[i] ?? NaN),
      meanSquare: withinMeanSquare,
      df: values - subjects,
    })),
    withinVariances: [first.withinMeanSquare, second.withinMeanSquare],
  });
}

function checkReplicates({ subjects, values }: SubjectVariation, what: string): Refusal | null {
  if (subjects < 2) return refuse('too-few', `There is ${subjects} subject; at least 2 are needed.`);
  if (values > subjects) return null;
  return refuse(
    'no-replicates',
    `No subject has two ${what}; at least one must have. For one pair a subject there are plain limits of agreement.`,
  );
}

interface Between {
  readonly bias: number;
  readonly biasVariance: number;
  /** Variance of differences over subjects, replication still in it. */
  readonly observed: number;
  /** The share of each within variance that `observed` holds. */
  readonly inverseReplicates: readonly [number, ...number[]];
}

/** Every subject counts once; the harmonic mean of the numbers of readings is the one that matters. */
function betweenBySubjects(
  methods: readonly [SubjectVariation, ...SubjectVariation[]],
  differences: readonly number[],
  size: number,
): Between {
  const n = differences.length;
  const bias = differences.reduce((sum, value) => sum + value, 0) / n;
  const squares = differences.reduce((sum, value) => sum + (value - bias) ** 2, 0);
  const observed = withoutRounding(squares, n, size) / (n - 1);
  const inverse = ({ counts }: SubjectVariation): number =>
    counts.reduce((sum, count) => sum + 1 / count, 0) / n;
  const [head, ...rest] = methods;
  return {
    bias,
    biasVariance: observed / n,
    observed,
    inverseReplicates: [inverse(head), ...rest.map(inverse)],
  };
}

/** Every pair counts once. */
function betweenByPairs(variation: SubjectVariation): Between {
  const { counts, values, betweenMeanSquare, withinMeanSquare, grandMean } = variation;
  const replicates = effectiveReplicates(counts);
  const between = Math.max(0, (betweenMeanSquare - withinMeanSquare) / replicates);
  const squares = counts.reduce((sum, count) => sum + count * count, 0);
  return {
    bias: grandMean,
    biasVariance: (between * squares) / values ** 2 + withinMeanSquare / values,
    observed: betweenMeanSquare / replicates,
    inverseReplicates: [1 / replicates],
  };
}

type Parts = Between & {
  readonly subjects: number;
  readonly readings: number;
  readonly share: number;
  readonly level: number;
  readonly within: readonly WeightedMeanSquare[];
  readonly withinVariances: readonly number[];
};

function assemble(parts: Parts): ReplicatedAgreement | Refusal {
  const { subjects, readings, share, level, bias, observed, within, withinVariances } = parts;
  const squares = [{ weight: 1, meanSquare: observed, df: subjects - 1 }, ...within];
  const total = squares.reduce((sum, { weight, meanSquare }) => sum + weight * meanSquare, 0);
  if (!(total > 0))
    return refuse('no-variation', `All differences are ${bias}; limits need differences that vary.`);
  const variance = sumOfMeanSquaresLimits(squares, level);
  const sd = Math.sqrt(total);
  const sdLimits = { lower: Math.sqrt(variance.lower), upper: Math.sqrt(variance.upper) };
  const half = twoSidedStudent(level, subjects - 1) * Math.sqrt(parts.biasVariance);
  const biasLimits = { lower: bias - half, upper: bias + half };
  const z = twoSidedNormal(share);
  const limit = (multiplier: number): { readonly estimate: number } & Limits => ({
    estimate: bias + multiplier * sd,
    ...meanPlusSpreadLimits({ estimate: bias, ...biasLimits }, { estimate: sd, ...sdLimits }, multiplier),
  });
  const replication = withinVariances.reduce(
    (sum, variance, i) => sum + variance * (parts.inverseReplicates[i] ?? NaN),
    0,
  );
  return {
    subjects,
    readings,
    share,
    level,
    bias,
    biasLimits,
    sd,
    sdLimits,
    betweenVariance: observed - replication,
    withinVariances,
    lower: limit(-z),
    upper: limit(z),
  };
}
