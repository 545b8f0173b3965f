import {
  bilinear,
  chiSquaredUpperTail,
  cholesky,
  createRandom,
  normalTwoSidedP,
  refuse,
  solveLower,
  type Refusal,
} from '../../numeric';
import {
  checkIntervals,
  checkWholeCounts,
  countsOf,
  type IntervalRefusal,
  type IntervalTimes,
} from './interval-times';
import { rankScores, type RankScoreForm } from './rank-scores';

type Label = string | number;

/** Intervals of patients and the groups that are compared. */
export interface GroupTestInput {
  /** Counts, where given, must be whole: labels are permuted patient by patient. */
  readonly times: IntervalTimes;
  readonly group: ArrayLike<Label>;
  /** Patients are compared within the same stratum only. */
  readonly stratum?: ArrayLike<Label> | undefined;
}

/** Which form of the test. */
export interface GroupTestOptions {
  /** Default `sun`: with exact times it is the log-rank test that readers know. */
  readonly form?: RankScoreForm | undefined;
  /** A number for each group, in the order of `groups` in the result, for the trend test; default: 0, 1, 2, ... */
  readonly trendScores?: readonly number[] | undefined;
  /** Random permutations for the Monte Carlo p value; default 0: none. */
  readonly permutations?: number | undefined;
  /** Seed of the permutations; default 1. */
  readonly seed?: number | undefined;
}

/** The comparison of groups of interval-censored times. */
export interface GroupTest {
  readonly form: RankScoreForm;
  /** In rising order of label. `score`: sum of the scores of its patients, positive where events came earlier than in all. */
  readonly groups: readonly { readonly group: Label; readonly patients: number; readonly score: number }[];
  /** Permutation covariance of the scores. */
  readonly covariance: readonly (readonly number[])[];
  readonly statistic: number;
  readonly df: number;
  /** By the chi-squared distribution. */
  readonly p: number;
  /** Against groups that follow their order; z is positive where events come earlier with a higher number. */
  readonly trend: { readonly z: number; readonly p: number };
  /** Share of label permutations (the observed one counted) with at least the observed statistic; null where not asked for. */
  readonly permutationP: number | null;
  readonly strata: number;
}

export type GroupTestRefusal =
  | IntervalRefusal
  | Refusal<'not-whole' | 'too-many' | 'one-group' | 'wrong-trend' | 'no-information' | 'wrong-permutations'>;

/**
 * The log-rank test for interval-censored times in two or more groups, optionally within strata, with the covariance
 * over all permutations of the group labels. That covariance is right whatever the number of innermost intervals,
 * and asks that the visits (the censoring) do not depend on the group.
 * Exact and right-censored times only: `sun` has the scores of the usual log-rank test.
 * Sources: Sun 1996; Finkelstein 1986; Fay 1996 and 1999 (permutation form).
 *
 * @returns a refusal for times that are not intervals, labels of the wrong number, counts that are not whole, one
 *   group, groups that no stratum lets compare, or times that say nothing (all alike)
 */
export function groupTest(
  input: GroupTestInput,
  options: GroupTestOptions = {},
): GroupTest | GroupTestRefusal {
  const form = options.form ?? 'sun';
  const permutations = options.permutations ?? 0;
  const groups = labelsOf(input.group);
  const wrong = checkGroups(input, groups, options);
  if (wrong !== null) return wrong;
  const patients = patientsOf(input, groups, form);
  const { sums, covariance } = scoreSums(patients, groups.length);
  const factor = wholeRank(covariance, groups.length);
  if (factor === null) {
    return refuse(
      'no-information',
      'The times do not let all groups be compared: they are all alike, or no stratum joins the groups.',
    );
  }
  const statistic = quadraticForm(factor, sums);
  const z = trendAlong(options.trendScores ?? groups.map((_, g) => g), sums, covariance);
  return {
    form,
    groups: groups.map((group, g) => ({
      group,
      patients: patients.group.filter((one) => one === g).length,
      score: sums[g] ?? 0,
    })),
    covariance: groups.map((_, g) =>
      Array.from(covariance.subarray(g * groups.length, (g + 1) * groups.length)),
    ),
    statistic,
    df: groups.length - 1,
    p: chiSquaredUpperTail(statistic, groups.length - 1),
    trend: { z, p: normalTwoSidedP(z) },
    permutationP:
      permutations === 0
        ? null
        : permutationP(patients, groups.length, factor, statistic, permutations, options.seed ?? 1),
    strata: patients.strata.length,
  };
}

/**
 * The same test where the times themselves hang on something that is estimated: to the covariance of the scores comes how
 * they vary over other readings of the times. Without it, groups that this moves apart seem to differ.
 *
 * @param drawn for each other reading the groups' scores, in the order of the test's groups
 * @returns statistic and p of the test as it is where there are fewer than two readings
 */
export function widenedGroupTest(
  test: Pick<GroupTest, 'groups' | 'covariance' | 'statistic' | 'df' | 'p'>,
  drawn: readonly (readonly number[])[],
): Pick<GroupTest, 'statistic' | 'p'> {
  const size = test.groups.length;
  if (drawn.length < 2) return { statistic: test.statistic, p: test.p };
  return groupTestBeside(test, scatterOf(drawn, size));
}

/** Covariance of columns over rows, at least two, as a full matrix. */
export function scatterOf(rows: readonly (readonly number[])[], size: number): number[][] {
  const means = Array.from(
    { length: size },
    (_, g) => rows.reduce((sum, row) => sum + (row[g] ?? NaN), 0) / rows.length,
  );
  return means.map((first, g) =>
    means.map(
      (second, h) =>
        rows.reduce((sum, row) => sum + ((row[g] ?? NaN) - first) * ((row[h] ?? NaN) - second), 0) /
        (rows.length - 1),
    ),
  );
}

/**
 * The same test with a further covariance of the scores, from something that is independent of which patients were seen.
 *
 * @param beside in the order of the test's groups
 */
export function groupTestBeside(
  test: Pick<GroupTest, 'groups' | 'covariance' | 'statistic' | 'df' | 'p'>,
  beside: readonly (readonly number[])[],
): Pick<GroupTest, 'statistic' | 'p'> {
  const size = test.groups.length;
  const covariance = Float64Array.from({ length: size * size }, (_, at) => {
    const [g, h] = [Math.floor(at / size), at % size];
    return (test.covariance[g]?.[h] ?? NaN) + (beside[g]?.[h] ?? NaN);
  });
  const factor = wholeRank(covariance, size);
  if (factor === null) return { statistic: test.statistic, p: test.p };
  const statistic = quadraticForm(
    factor,
    Float64Array.from(test.groups, ({ score }) => score),
  );
  return { statistic, p: chiSquaredUpperTail(statistic, test.df) };
}

/** The scores along numbers of the groups over their standard error; only how the numbers lie apart matters. */
function trendAlong(numbers: readonly number[], sums: Float64Array, covariance: Float64Array): number {
  const lowest = Math.min(...numbers);
  const reach = Math.max(...numbers) / 2 - lowest / 2;
  const places = numbers.map((number) => (number / 2 - lowest / 2) / reach);
  const along = places.reduce((sum, place, g) => sum + place * (sums[g] ?? 0), 0);
  return along / Math.sqrt(bilinear(places, covariance, places));
}

/** Numbers in rising order, then texts by their code points. */
function labelsOf(labels: ArrayLike<Label>): Label[] {
  const numbers = new Set<number>();
  const texts = new Set<string>();
  for (let i = 0; i < labels.length; i++) {
    const label = labels[i] ?? NaN;
    if (typeof label === 'number') numbers.add(label);
    else texts.add(label);
  }
  return [...[...numbers].sort((a, b) => a - b), ...[...texts].sort()];
}

function checkGroups(
  { times, group, stratum }: GroupTestInput,
  groups: readonly Label[],
  { trendScores, permutations }: GroupTestOptions,
): GroupTestRefusal | null {
  const wrong = checkIntervals(times);
  if (wrong !== null) return wrong;
  const rows = times.left.length;
  for (const [name, labels] of [['group', group] as const, ['stratum', stratum] as const]) {
    if (labels === undefined) continue;
    if (labels.length !== rows) {
      return refuse('wrong-length', `${name} has ${labels.length} entries where ${rows} are needed.`);
    }
    for (let i = 0; i < rows; i++) {
      if (Number.isNaN(labels[i])) return refuse('wrong-value', `${name}[${i}] is NaN; it must be a label.`);
    }
  }
  const counts = countsOf(times);
  const wrongCounts = checkWholeCounts(counts);
  if (wrongCounts !== null) return wrongCounts;
  const present = labelsOf(Array.from(group).filter((_, i) => (counts[i] ?? 0) > 0));
  if (present.length < 2 || present.length < groups.length) {
    return refuse(
      'one-group',
      `Patients are in ${present.length} of ${groups.length} groups; two or more are needed.`,
    );
  }
  if (permutations !== undefined && !(Number.isSafeInteger(permutations) && permutations >= 0)) {
    return refuse(
      'wrong-permutations',
      `permutations is ${permutations}; it must be a whole number, 0 or more.`,
    );
  }
  if (trendScores === undefined) return null;
  const usable = trendScores.every(Number.isFinite) && new Set(trendScores).size > 1;
  if (trendScores.length === groups.length && usable) return null;
  return refuse(
    'wrong-trend',
    `trendScores must be ${groups.length} finite numbers that are not all equal, one for each of ${groups.join(', ')}.`,
  );
}

/** One entry a patient: its score less the mean of its stratum, and the place of its group and stratum. */
interface ScoredPatients {
  readonly score: Float64Array;
  readonly group: Int32Array;
  /** For each stratum its patients. */
  readonly strata: readonly Int32Array[];
}

function patientsOf(
  { times, group, stratum }: GroupTestInput,
  groups: readonly Label[],
  form: RankScoreForm,
): ScoredPatients {
  const counts = countsOf(times);
  const groupPlace = new Map(groups.map((label, g) => [label, g]));
  const rowsOf = new Map<Label, number[]>();
  for (let i = 0; i < counts.length; i++) {
    if (!((counts[i] ?? 0) > 0)) continue;
    const label = stratum?.[i] ?? 0;
    const rows = rowsOf.get(label);
    if (rows === undefined) rowsOf.set(label, [i]);
    else rows.push(i);
  }
  const score: number[] = [];
  const places: number[] = [];
  const strata: Int32Array[] = [];
  for (const rows of rowsOf.values()) {
    const scores = rankScores(
      {
        left: rows.map((i) => times.left[i] ?? NaN),
        right: rows.map((i) => times.right[i] ?? NaN),
        count: rows.map((i) => counts[i] ?? 0),
      },
      form,
    );
    const start = score.length;
    let sum = 0;
    rows.forEach((i, k) => {
      for (let copy = 0; copy < (counts[i] ?? 0); copy++) {
        score.push(scores[k] ?? 0);
        sum += scores[k] ?? 0;
        places.push(groupPlace.get(group[i] ?? NaN) ?? 0);
      }
    });
    const mean = sum / (score.length - start);
    for (let k = start; k < score.length; k++) score[k] = (score[k] ?? 0) - mean;
    strata.push(Int32Array.from({ length: score.length - start }, (_, k) => start + k));
  }
  return { score: Float64Array.from(score), group: Int32Array.from(places), strata };
}

/** Sums of scores by group, and their covariance over all permutations of the labels within strata. */
function scoreSums(
  { score, group, strata }: ScoredPatients,
  size: number,
): { sums: Float64Array; covariance: Float64Array } {
  const sums = groupSums(score, group, size);
  const covariance = new Float64Array(size * size);
  for (const members of strata) {
    const n = members.length;
    if (n < 2) continue;
    let squares = 0;
    const sizes = new Float64Array(size);
    for (const k of members) {
      squares += (score[k] ?? 0) ** 2;
      sizes[group[k] ?? 0] = (sizes[group[k] ?? 0] ?? 0) + 1;
    }
    for (let g = 0; g < size; g++) {
      for (let h = 0; h < size; h++) {
        const together = (g === h ? (sizes[g] ?? 0) : 0) - ((sizes[g] ?? 0) * (sizes[h] ?? 0)) / n;
        covariance[g * size + h] = (covariance[g * size + h] ?? 0) + (squares / (n - 1)) * together;
      }
    }
  }
  return { sums, covariance };
}

function groupSums(score: Float64Array, group: Int32Array, size: number): Float64Array {
  const sums = new Float64Array(size);
  for (let k = 0; k < score.length; k++) {
    const g = group[k] ?? 0;
    sums[g] = (sums[g] ?? 0) + (score[k] ?? 0);
  }
  return sums;
}

/** Below this variance, per patient in the square of a score, the scores differ by rounding only. */
const ROUNDING = 1e-12;

/** Cholesky factor of the covariance without the last group, which follows from the others; null where it has none. */
function wholeRank(covariance: Float64Array, size: number): Float64Array | null {
  const part = new Float64Array((size - 1) ** 2);
  for (let g = 0; g < size - 1; g++) {
    for (let h = 0; h < size - 1; h++) part[g * (size - 1) + h] = covariance[g * size + h] ?? 0;
    if (!((covariance[g * size + g] ?? 0) > ROUNDING)) return null;
  }
  return cholesky(part, size - 1);
}

function quadraticForm(factor: Float64Array, sums: Float64Array): number {
  const solved = solveLower(factor, sums.length - 1, sums.slice(0, -1));
  return solved.reduce((total, value) => total + value * value, 0);
}

/** Equal statistics must count as equal though their sums were rounded in another order. */
const TIE = 1e-9;

function permutationP(
  { score, group, strata }: ScoredPatients,
  size: number,
  factor: Float64Array,
  observed: number,
  permutations: number,
  seed: number,
): number {
  const random = createRandom(seed);
  const labels = group.slice();
  let asLarge = 1;
  for (let round = 0; round < permutations; round++) {
    for (const members of strata) {
      for (let k = members.length - 1; k > 0; k--) {
        const here = members[k] ?? 0;
        const there = members[random.integer(k + 1)] ?? 0;
        const label = labels[here] ?? 0;
        labels[here] = labels[there] ?? 0;
        labels[there] = label;
      }
    }
    const statistic = quadraticForm(factor, groupSums(score, labels, size));
    if (statistic >= observed * (1 - TIE) - TIE) asLarge++;
  }
  return asLarge / (permutations + 1);
}
