import {
  checkColumn,
  chiSquaredUpperTail,
  FINITE,
  isRefusal,
  normalTwoSidedP,
  refuse,
  type Refusal,
} from '../../numeric';
import { numberGroups, type GroupLabel, type NumberedGroups } from './groups';
import { checkWeighting, eventTimeWeight, type LogRankWeighting } from './log-rank-weight';
import { visitMoments } from './moments';
import { asRows, quadraticForm } from './score-test';
import { checkTimes, orderTimesByStratum, type RightCensoredTimes, type TimesRefusal } from './times';

/** Times of groups that are compared. */
export interface GroupedTimes extends RightCensoredTimes {
  readonly group: ArrayLike<GroupLabel>;
  /** Groups are compared within each stratum; the differences are added up. Default: one stratum. */
  readonly stratum?: ArrayLike<GroupLabel> | undefined;
}

/** What one group contributes. */
export interface ComparedGroup {
  readonly group: GroupLabel;
  readonly observations: number;
  readonly events: number;
  /** Sum of the weights of its events; their number where every time counts the same. */
  readonly observed: number;
  /** Weighted number of events expected had all groups of a stratum the same hazard. 0: never at risk at an event. */
  readonly expected: number;
}

/** A test that the hazards of groups are equal. */
export interface LogRankTest {
  readonly weighting: LogRankWeighting;
  /** In rising order of label. */
  readonly groups: readonly ComparedGroup[];
  /** Covariance of observed less expected, in the order of the groups, a row each. */
  readonly covariance: readonly (readonly number[])[];
  readonly chiSquared: number;
  /** One less than the groups, less where groups were never at risk together. */
  readonly degreesOfFreedom: number;
  readonly p: number;
}

/** A test that the hazard rises or falls along the scores of groups. */
export interface LogRankTrend extends Omit<LogRankTest, 'degreesOfFreedom'> {
  /** Score of each group, in the order of the groups. */
  readonly scores: readonly number[];
  /** Standard normal: above 0 where groups with higher scores have more events than expected. */
  readonly z: number;
}

export type LogRankRefusal =
  TimesRefusal | Refusal<'one-group' | 'no-events' | 'nothing-to-compare' | 'wrong-weighting'>;

/**
 * Log-rank test of k groups and its weighted relatives: observed less expected events at each event time, weighted and
 * added up, with the hypergeometric covariance; chi-squared on the rank of that covariance.
 * Sources: Mantel 1966; Gehan 1965; Breslow 1970; Tarone and Ware 1977; Peto and Peto 1972; Andersen and others 1982
 * (modified Peto-Peto); Fleming and Harrington 1981; Klein and Moeschberger 2003, chapter 7.
 *
 * @param options `weighting`, default `log-rank`: the most powerful where hazards are proportional
 * @returns also refuses one group, no events at all, and groups that were never at risk together at an event
 */
export function logRankTest(
  columns: GroupedTimes,
  options: { readonly weighting?: LogRankWeighting | undefined } = {},
): LogRankTest | LogRankRefusal {
  const comparison = compareGroups(columns, options.weighting ?? 'log-rank');
  if (isRefusal(comparison)) return comparison;
  const { differences, covariance, ...rest } = comparison;
  const { chiSquared, degreesOfFreedom } = quadraticForm(differences, covariance);
  if (degreesOfFreedom === 0) return nothingToCompare();
  return {
    ...rest,
    covariance: asRows(covariance, rest.groups.length),
    chiSquared,
    degreesOfFreedom,
    p: chiSquaredUpperTail(chiSquared, degreesOfFreedom),
  };
}

/**
 * Test for a trend along the scores of groups, `sum a_j (O_j - E_j)` over the square root of `a' V a`.
 * Sources: Tarone 1975; Klein and Moeschberger 2003, section 7.4.
 *
 * @param options `scores`: one number for each group, in rising order of label; default 1, 2, 3, ...
 */
export function logRankTrend(
  columns: GroupedTimes,
  options: {
    readonly weighting?: LogRankWeighting | undefined;
    readonly scores?: readonly number[] | undefined;
  } = {},
): LogRankTrend | LogRankRefusal {
  const comparison = compareGroups(columns, options.weighting ?? 'log-rank');
  if (isRefusal(comparison)) return comparison;
  const { differences, covariance, ...rest } = comparison;
  const size = rest.groups.length;
  const scores = options.scores ?? rest.groups.map((_, place) => place + 1);
  const fault = checkColumn('scores', scores, FINITE, size);
  if (fault !== null) return fault;
  // Scores from their middle: a large constant in all of them changes nothing but would cost digits.
  const middle = scores.reduce((sum, score) => sum + score / size, 0);
  let sum = 0;
  let variance = 0;
  let scale = 0;
  for (let i = 0; i < size; i++) {
    const a = (scores[i] ?? NaN) - middle;
    sum += a * (differences[i] ?? NaN);
    scale += a * a * (covariance[i * size + i] ?? NaN);
    for (let j = 0; j < size; j++) {
      variance += a * (covariance[i * size + j] ?? NaN) * ((scores[j] ?? NaN) - middle);
    }
  }
  if (!(variance > 1e-12 * scale)) return nothingToCompare();
  const z = sum / Math.sqrt(variance);
  return {
    ...rest,
    covariance: asRows(covariance, size),
    scores: [...scores],
    z,
    chiSquared: z * z,
    p: normalTwoSidedP(z),
  };
}

function nothingToCompare(): Refusal<'nothing-to-compare'> {
  return refuse(
    'nothing-to-compare',
    'At no event time were rows of different groups (with different scores) at risk together in a stratum with a row left over, so the groups cannot be compared.',
  );
}

interface Comparison {
  readonly weighting: LogRankWeighting;
  readonly groups: readonly ComparedGroup[];
  /** Observed less expected, by group. */
  readonly differences: Float64Array;
  readonly covariance: Float64Array;
}

function compareGroups(columns: GroupedTimes, weighting: LogRankWeighting): Comparison | LogRankRefusal {
  const fault = checkTimes(columns) ?? checkWeighting(weighting);
  if (fault !== null) return fault;
  const rows = columns.time.length;
  const groups = numberGroups('group', columns.group, rows);
  if (isRefusal(groups)) return groups;
  const strata = columns.stratum === undefined ? null : numberGroups('stratum', columns.stratum, rows);
  if (isRefusal(strata)) return strata;
  const [only] = groups.labels;
  if (groups.labels.length < 2) {
    return refuse('one-group', `All rows are of the group ${only}; two groups at least are needed.`);
  }
  return added(columns, groups, strata, weighting);
}

function added(
  { time, event, entry, weights }: GroupedTimes,
  { labels, numbers }: NumberedGroups,
  strata: NumberedGroups | null,
  weighting: LogRankWeighting,
): Comparison | Refusal<'no-events'> {
  const size = labels.length;
  const sums = emptySums(size);
  const stratified = orderTimesByStratum(
    { time, kind: event, group: numbers, stratum: strata?.numbers, entry, weights },
    strata?.labels.length ?? 1,
  );
  for (const rows of stratified) {
    const weightOf = eventTimeWeight(weighting);
    visitMoments(rows, size, 1, ({ atRisk, counts }) => addMoment(sums, atRisk, counts, weightOf));
  }
  if (sums.events.every((events) => events === 0)) {
    return refuse(
      'no-events',
      'No row has an event, so there is nothing to compare; event must be 1 somewhere.',
    );
  }
  const groups = labels.map((group, g) => ({
    group,
    observations: sums.observations[g] ?? NaN,
    events: sums.events[g] ?? NaN,
    observed: sums.observed[g] ?? NaN,
    expected: sums.expected[g] ?? NaN,
  }));
  const differences = sums.observed.map((observed, g) => observed - (sums.expected[g] ?? NaN));
  return { weighting, groups, differences, covariance: mirrored(sums.covariance, size) };
}

interface Sums {
  readonly observations: Float64Array;
  readonly events: Float64Array;
  readonly observed: Float64Array;
  readonly expected: Float64Array;
  /** Upper triangle filled. */
  readonly covariance: Float64Array;
}

function emptySums(size: number): Sums {
  return {
    observations: new Float64Array(size),
    events: new Float64Array(size),
    observed: new Float64Array(size),
    expected: new Float64Array(size),
    covariance: new Float64Array(size * size),
  };
}

function addMoment(
  sums: Sums,
  atRisk: Float64Array,
  counts: Float64Array,
  weightOf: (n: number, d: number) => number,
): void {
  const size = atRisk.length;
  let n = 0;
  let d = 0;
  for (let g = 0; g < size; g++) {
    const events = counts[2 * g + 1] ?? 0;
    n += atRisk[g] ?? 0;
    d += events;
    add(sums.observations, g, events + (counts[2 * g] ?? 0));
  }
  if (d === 0) return;
  const weight = weightOf(n, d);
  const spread = n > 1 ? (weight * weight * d * (n - d)) / (n - 1) : 0;
  for (let g = 0; g < size; g++) {
    const share = (atRisk[g] ?? 0) / n;
    const events = counts[2 * g + 1] ?? 0;
    add(sums.events, g, events);
    add(sums.observed, g, weight * events);
    if (share === 0) continue;
    add(sums.expected, g, weight * d * share);
    add(sums.covariance, g * size + g, spread * share * (1 - share));
    for (let h = g + 1; h < size; h++) {
      add(sums.covariance, g * size + h, (-spread * share * (atRisk[h] ?? 0)) / n);
    }
  }
}

function add(totals: Float64Array, place: number, amount: number): void {
  totals[place] = (totals[place] ?? 0) + amount;
}

function mirrored(upper: Float64Array, size: number): Float64Array {
  return upper.map((value, cell) => {
    const row = Math.floor(cell / size);
    const column = cell % size;
    return row <= column ? value : (upper[column * size + row] ?? NaN);
  });
}
