import { isRefusal } from '../numeric';
import { groupTest, widenedGroupTest, type CensoredInterval, type GroupTest } from '../survival';
import type { PatientOutcome } from './answer';
import type { DrawnLosses } from './drawn-losses';
import {
  coxRatios,
  drawnGroups,
  FEWEST_IN_GROUP,
  intervalTimes,
  onlyOneGroup,
  regressionOf,
  type Grouped,
} from './group-ratios';
import { groupLabel, GROUPINGS, medianGain } from './grouping';
import { meanDifferences } from './mean-differences';
import type { Grouping, OutcomeQuestion } from './question';
import { intervalCensoredCurve, restrictionOf } from './survival-answer';
import type { GroupingTest, GroupSurvival, SurvivalGroupsAnswer } from './survival-groups-answer';
import type { SurvivalHooks } from './survival-years';

/** Each group's limits rest on no more resamples than this: they are looked at side by side, not one by one. */
const MOST_RESAMPLES = 200;

/**
 * Survival of the gain by the question's grouping: a curve for each group, ratios against the largest, and the test of
 * every grouping.
 *
 * @param drawn the same patients' losses under other curves and errors; null where none are known
 * @returns null where nobody is in the risk set; `stopped` where the hooks said so.
 */
export function survivalGroups(
  outcomes: readonly PatientOutcome[],
  question: OutcomeQuestion,
  drawn: DrawnLosses | null,
  hooks: SurvivalHooks,
): SurvivalGroupsAnswer | null | 'stopped' {
  const inRiskSet = outcomes.filter(({ loss }) => loss !== null);
  if (inRiskSet.length === 0) return null;
  const dividing = medianGain(inRiskSet);
  const { groupBy } = question;
  const members = membersOf(inRiskSet, groupBy, dividing);
  const sizes = [...byLabel(members)].sort(([a], [b]) => (a < b ? -1 : 1));
  const large = sizes.filter(([, losses]) => losses.length >= FEWEST_IN_GROUP);
  const resamples = Math.min(question.resamples, MOST_RESAMPLES);
  const groups: GroupSurvival[] = [];
  const meanDraws = new Map<string, Float64Array>();
  const codes = codesByLabel(outcomes, groupBy, dividing);
  const until = commonRestriction(large.map(([, losses]) => losses));
  for (const [i, [label, losses]] of large.entries()) {
    const within = {
      ...hooks,
      progress: (fraction: number): void => hooks.progress((i + fraction) / large.length),
    };
    const ownUntil = restrictionOf(losses) === null ? null : until;
    // A seed of its own: else groups of one size would draw the same places, which looks like a correlation.
    const options = { level: question.level, resamples, seed: question.seed + i + 1 };
    const own = drawn?.among(codes.get(label) ?? new Set()) ?? null;
    const found = intervalCensoredCurve(losses, { ...options, drawn: own }, within, ownUntil);
    if (found === 'stopped') return 'stopped';
    const { curve } = found;
    meanDraws.set(label, found.meanDraws);
    groups.push({
      label,
      patients: losses.length,
      losses: lossCount(losses),
      points: curve.points,
      atYears: curve.atYears,
      restrictedMean: curve.restrictedMean,
    });
  }
  const shown = new Set(groups.map(({ label }) => label));
  const compared = members.filter(({ label }) => shown.has(label));
  const redrawn = drawn === null ? null : drawnGroups(drawn, codes, shown);
  const reference = largest(groups);
  return {
    grouping: groupBy,
    groups,
    tooSmall: sizes
      .filter(([, losses]) => losses.length < FEWEST_IN_GROUP)
      .map(([label, losses]) => ({ label, patients: losses.length })),
    reference,
    meanDifferences: meanDifferences(groups, reference, drawn === null ? null : meanDraws),
    regressions:
      reference === null
        ? []
        : (['weibull', 'log-logistic'] as const).map((distribution) =>
            regressionOf(compared, { reference, distribution, level: question.level, drawn: redrawn }),
          ),
    cox: reference === null ? onlyOneGroup() : coxRatios(compared, reference, question.level),
    resamples,
    dividingGain: groupBy === 'gain' ? dividing : null,
    tests: withHolm(GROUPINGS.map((grouping) => testOf(outcomes, grouping, dividing, drawn))),
  };
}

/**
 * The last customary year to which ten are followed in every group that has ten for a year; null where none has. Smaller
 * groups have no mean rather than take it from the others.
 */
function commonRestriction(groups: readonly (readonly CensoredInterval[])[]): number | null {
  const years = groups.flatMap((losses) => restrictionOf(losses) ?? []);
  return years.length === 0 ? null : Math.min(...years);
}

/** Codes of all who could be in the risk set, by group. */
function codesByLabel(
  outcomes: readonly PatientOutcome[],
  grouping: Grouping,
  dividing: number,
): Map<string, Set<string>> {
  const codes = new Map<string, Set<string>>();
  for (const outcome of outcomes) {
    const label = groupLabel(outcome, grouping, dividing);
    if (label === null) continue;
    const known = codes.get(label);
    if (known === undefined) codes.set(label, new Set([outcome.code]));
    else known.add(outcome.code);
  }
  return codes;
}

function membersOf(outcomes: readonly PatientOutcome[], grouping: Grouping, dividing: number): Grouped[] {
  return outcomes.flatMap((outcome) => {
    const label = groupLabel(outcome, grouping, dividing);
    return label === null || outcome.loss === null ? [] : [{ label, loss: outcome.loss }];
  });
}

function byLabel(members: readonly Grouped[]): Map<string, CensoredInterval[]> {
  const groups = new Map<string, CensoredInterval[]>();
  for (const { label, loss } of members) {
    const known = groups.get(label);
    if (known === undefined) groups.set(label, [loss]);
    else known.push(loss);
  }
  return groups;
}

function lossCount(losses: readonly CensoredInterval[]): number {
  return losses.filter(({ right }) => right !== null).length;
}

/** The label of the largest of two groups or more; null where there is but one. */
function largest(groups: readonly GroupSurvival[]): string | null {
  if (groups.length < 2) return null;
  return groups.reduce((a, b) => (b.patients > a.patients ? b : a)).label;
}

/** A grouping's test before the correction for how many there are. */
interface TestOfGrouping extends Omit<GroupingTest, 'adjustedP' | 'test'> {
  readonly test:
    | (Pick<GroupTest, 'statistic' | 'df' | 'p'> & {
        readonly asKnown: Pick<GroupTest, 'statistic' | 'p'>;
      })
    | null;
}

function testOf(
  outcomes: readonly PatientOutcome[],
  grouping: Grouping,
  dividing: number,
  drawn: DrawnLosses | null,
): TestOfGrouping {
  const inRiskSet = outcomes.filter(({ loss }) => loss !== null);
  const members = membersOf(inRiskSet, grouping, dividing);
  const groups = [...byLabel(members)]
    .map(([label, losses]) => ({ label, patients: losses.length, losses: lossCount(losses) }))
    .sort((a, b) => (a.label < b.label ? -1 : 1));
  const enough = new Set(
    groups.filter(({ patients }) => patients >= FEWEST_IN_GROUP).map(({ label }) => label),
  );
  const compared = members.filter(({ label }) => enough.has(label));
  const base = { grouping, groups, unknown: inRiskSet.length - members.length };
  if (enough.size < 2) return { ...base, test: null, why: onlyOneGroup().message };
  const test = testAmong(compared);
  if (isRefusal(test)) return { ...base, test: null, why: test.message };
  const { statistic, df, p } = test;
  const redrawn =
    drawn === null ? [] : drawnGroups(drawn, codesByLabel(outcomes, grouping, dividing), enough);
  const scores = redrawn.flatMap((one) => {
    const again = testAmong(one);
    return isRefusal(again) || again.groups.length !== enough.size
      ? []
      : [again.groups.map(({ score }) => score)];
  });
  return {
    ...base,
    test: { ...widenedGroupTest(test, scores), df, asKnown: { statistic, p } },
    why: null,
  };
}

function testAmong(members: readonly Grouped[]): ReturnType<typeof groupTest> {
  return groupTest({ times: intervalTimes(members), group: members.map(({ label }) => label) });
}

/** Each grouping's p after the correction, with the doubt about curve and error and without. */
function withHolm(tests: readonly TestOfGrouping[]): GroupingTest[] {
  const whole = holm(tests.map(({ test }) => test?.p ?? null));
  const asKnown = holm(tests.map(({ test }) => test?.asKnown.p ?? null));
  return tests.map(({ test, ...row }, i) => ({
    ...row,
    test: test === null ? null : { ...test, asKnown: { ...test.asKnown, adjustedP: asKnown[i] ?? 1 } },
    adjustedP: whole[i] ?? null,
  }));
}

/** Holm 1979: the smallest p times the number of tests, the next times one less, and so on, never falling. */
function holm(ps: readonly (number | null)[]): (number | null)[] {
  const rising = ps.flatMap((p, at) => (p === null ? [] : [{ at, p }])).sort((a, b) => a.p - b.p);
  const adjusted: (number | null)[] = ps.map(() => null);
  let least = 0;
  rising.forEach(({ at, p }, i) => {
    least = Math.max(least, Math.min(1, p * (rising.length - i)));
    adjusted[at] = least;
  });
  return adjusted;
}
