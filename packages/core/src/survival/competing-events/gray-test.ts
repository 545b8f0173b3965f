import { chiSquaredUpperTail, isRefusal, refuse, type Refusal } from '../../numeric';
import { numberGroups, type GroupLabel } from '../right-censored';
import { asRows, quadraticForm } from '../right-censored/score-test';
import { orderTimesByStratum } from '../right-censored/times';
import { countCauses, type CompetingRefusal, type CompetingTimes } from './competing-times';
import { addGrayCovariance } from './gray-covariance';
import { addScores, noScores } from './gray-scores';

/** Competing events of groups that are compared, observed from time 0 on. */
export interface GroupedCompetingTimes extends Omit<CompetingTimes, 'entry'> {
  readonly group: ArrayLike<GroupLabel>;
  /** Groups are compared within each stratum; the differences are added up. Default: one stratum. */
  readonly stratum?: ArrayLike<GroupLabel> | undefined;
}

/** What one group contributes. */
export interface IncidenceGroup {
  readonly group: GroupLabel;
  readonly observations: number;
  /** Events of the cause. */
  readonly events: number;
  /** Sum of the weights of its events; their number where rho is 0. */
  readonly observed: number;
  /** What `observed` would be expected to be had all groups of a stratum the same cumulative incidence. */
  readonly expected: number;
}

/** A test that groups have the same cumulative incidence of one cause. */
export interface GrayTest {
  /** Number of the cause. */
  readonly cause: number;
  readonly rho: number;
  /** In rising order of label. */
  readonly groups: readonly IncidenceGroup[];
  /** Covariance of observed less expected, in the order of the groups, a row each. */
  readonly covariance: readonly (readonly number[])[];
  readonly chiSquared: number;
  /** One less than the groups, less where groups were never at risk together. */
  readonly degreesOfFreedom: number;
  readonly p: number;
  /**
   * The pooled incidence reached 1 (which sums over groups can, where one has nearly all its events before the others)
   * while groups were still compared: the groups differ utterly, and the size of the statistic means little.
   */
  readonly pooledReachedOne: boolean;
}

/** What may be chosen. */
export interface GrayOptions {
  /** Number of the cause whose incidence is compared; default 1. */
  readonly cause?: number | undefined;
  /** Power of 1 - F(t-) by which an event time counts, F the pooled incidence; 0 or more, default 0: all the same. */
  readonly rho?: number | undefined;
}

export type GrayRefusal =
  | CompetingRefusal
  | Refusal<'one-group' | 'no-events-of-cause' | 'nothing-to-compare' | 'negative-variance' | 'wrong-rho'>;

/**
 * Gray's test of k groups for the cumulative incidence of one cause. (The log-rank test with other causes censored
 * asks another question: whether the hazards of the cause are equal.)
 * Source: Gray 1988.
 */
export function grayTest(columns: GroupedCompetingTimes, options: GrayOptions = {}): GrayTest | GrayRefusal {
  const { cause = 1, rho = 0 } = options;
  const compared = checkComparison(columns, cause, rho);
  if (isRefusal(compared)) return compared;
  const { labels, stratified } = compared;
  const sums = noScores(labels.length);
  const covariance = new Float64Array(labels.length ** 2);
  let pooledReachedOne = false;
  for (const rows of stratified) {
    const moments = addScores(sums, rows, rho);
    addGrayCovariance(covariance, moments);
    pooledReachedOne ||= moments.pooledReachedOne;
  }
  const differences = sums.observed.map((observed, g) => observed - (sums.expected[g] ?? NaN));
  const { chiSquared, degreesOfFreedom, indefinite } = quadraticForm(differences, covariance);
  // The correction for ties falls below 0 where a time has more events than a group's hazard is informed by.
  if (indefinite) {
    return refuse(
      'negative-variance',
      `For cause ${cause} so many events are tied in so small groups that a variance is estimated below 0, so the groups cannot be compared.`,
    );
  }
  if (degreesOfFreedom === 0) {
    return refuse(
      'nothing-to-compare',
      `At no event of cause ${cause} were rows of different groups at risk together in a stratum with a row left over, so the groups cannot be compared.`,
    );
  }
  return {
    cause,
    rho,
    groups: labels.map((group, g) => ({
      group,
      observations: sums.observations[g] ?? NaN,
      events: sums.events[g] ?? NaN,
      observed: sums.observed[g] ?? NaN,
      expected: sums.expected[g] ?? NaN,
    })),
    covariance: asRows(covariance, labels.length),
    chiSquared,
    degreesOfFreedom,
    p: chiSquaredUpperTail(chiSquared, degreesOfFreedom),
    pooledReachedOne,
  };
}

function checkComparison(columns: GroupedCompetingTimes, cause: number, rho: number) {
  const { time, weights } = columns;
  const causes = countCauses({ time, cause: columns.cause, weights }, null);
  if (typeof causes !== 'number') return causes;
  if (!(rho >= 0 && rho < Infinity))
    return refuse('wrong-rho', `rho is ${rho}; it must be finite, 0 or more.`);
  const rows = time.length;
  const groups = numberGroups('group', columns.group, rows);
  if (isRefusal(groups)) return groups;
  const strata = columns.stratum === undefined ? null : numberGroups('stratum', columns.stratum, rows);
  if (isRefusal(strata)) return strata;
  if (groups.labels.length < 2) {
    return refuse(
      'one-group',
      `All rows are of the group ${groups.labels[0]}; two groups at least are needed.`,
    );
  }
  const kind = kindsFor(columns.cause, cause);
  if (!kind.some((value, row) => value === 1 && (weights?.[row] ?? 1) > 0)) {
    return refuse(
      'no-events-of-cause',
      `No row has an event of cause ${cause}, so there is nothing to compare.`,
    );
  }
  const stratified = orderTimesByStratum(
    { time, kind, group: groups.numbers, stratum: strata?.numbers, weights },
    strata?.labels.length ?? 1,
  );
  return { labels: groups.labels, stratified };
}

/** 0: censored; 1: the cause in question; 2: any other. */
function kindsFor(causes: ArrayLike<number>, cause: number): Uint32Array {
  return Uint32Array.from(causes, (one) => (one === 0 ? 0 : one === cause ? 1 : 2));
}
