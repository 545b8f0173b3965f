import { isRefusal, refuse, type FactorTerm, type Refusal } from '../numeric';
import { fitCox, groupTest, timeRegression, type CensoredInterval, type TimeCoefficient } from '../survival';
import type { PatientOutcome } from './answer';
import { groupLabel, GROUPINGS, medianGain } from './grouping';
import type { Grouping, OutcomeQuestion } from './question';
import { intervalCensoredCurve, restrictionOf, type SurvivalHooks } from './survival-answer';
import type {
  GroupingTest,
  GroupRatio,
  GroupRegression,
  GroupSurvival,
  SurvivalGroupsAnswer,
} from './survival-groups-answer';

/** A curve of fewer patients than this would show single patients, not a group. */
const FEWEST = 5;
/** Each group's limits rest on no more resamples than this: they are looked at side by side, not one by one. */
const MOST_RESAMPLES = 200;

interface Grouped {
  readonly label: string;
  readonly loss: CensoredInterval;
}

/**
 * Survival of the gain by the question's grouping: a curve for each group, ratios against the largest, and the test of
 * every grouping. Null where nobody is in the risk set; `stopped` where the hooks said so.
 */
export function survivalGroups(
  outcomes: readonly PatientOutcome[],
  question: OutcomeQuestion,
  hooks: SurvivalHooks,
): SurvivalGroupsAnswer | null | 'stopped' {
  const inRiskSet = outcomes.filter(({ loss }) => loss !== null);
  if (inRiskSet.length === 0) return null;
  const dividing = medianGain(inRiskSet);
  const { groupBy } = question;
  const members = membersOf(inRiskSet, groupBy, dividing);
  const sizes = [...byLabel(members)].sort(([a], [b]) => (a < b ? -1 : 1));
  const large = sizes.filter(([, losses]) => losses.length >= FEWEST);
  const resamples = Math.min(question.resamples, MOST_RESAMPLES);
  const groups: GroupSurvival[] = [];
  const until = commonRestriction(large.map(([, losses]) => losses));
  for (const [i, [label, losses]] of large.entries()) {
    const within = {
      ...hooks,
      progress: (fraction: number): void => hooks.progress((i + fraction) / large.length),
    };
    const ownUntil = restrictionOf(losses) === null ? null : until;
    const curve = intervalCensoredCurve(losses, { ...question, resamples }, within, ownUntil);
    if (curve === 'stopped') return 'stopped';
    groups.push({
      label,
      patients: losses.length,
      losses: lossCount(losses),
      points: curve.points,
      atYears: curve.atYears,
      restrictedMean: curve.restrictedMean,
    });
  }
  const compared = members.filter(({ label }) => groups.some((group) => group.label === label));
  const reference = largest(groups);
  return {
    grouping: groupBy,
    groups,
    tooSmall: sizes
      .filter(([, losses]) => losses.length < FEWEST)
      .map(([label, losses]) => ({ label, patients: losses.length })),
    reference,
    meanDifferences: meanDifferences(groups, reference),
    regressions:
      reference === null
        ? []
        : (['weibull', 'log-logistic'] as const).map((distribution) =>
            regressionOf(compared, reference, distribution, question.level),
          ),
    cox: reference === null ? onlyOneGroup() : coxRatios(compared, reference, question.level),
    resamples,
    dividingGain: groupBy === 'gain' ? dividing : null,
    tests: withHolm(GROUPINGS.map((grouping) => testOf(inRiskSet, grouping, dividing))),
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

/**
 * Differences of restricted means with limits put together from those of the two means, which are independent (Zou and
 * Donner 2008, who square and add how far each limit reaches).
 */
function meanDifferences(
  groups: readonly GroupSurvival[],
  reference: string | null,
): SurvivalGroupsAnswer['meanDifferences'] {
  const base = groups.find(({ label }) => label === reference)?.restrictedMean ?? null;
  if (base === null) return [];
  return groups.flatMap(({ label, restrictedMean: own }) => {
    if (label === reference || own === null) return [];
    const estimate = own.estimate - base.estimate;
    return [
      {
        label,
        estimate,
        limits: {
          lower: estimate - Math.hypot(own.estimate - own.limits.lower, base.limits.upper - base.estimate),
          upper: estimate + Math.hypot(own.limits.upper - own.estimate, base.estimate - base.limits.lower),
        },
      },
    ];
  });
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

function onlyOneGroup(): Refusal {
  return refuse('one-group', `There are not two groups of ${FEWEST} patients or more to compare.`);
}

function groupTerm(members: readonly Grouped[], reference: string): FactorTerm {
  const others = [...new Set(members.map(({ label }) => label))]
    .filter((label) => label !== reference)
    .sort();
  const levels = [reference, ...others];
  return { kind: 'factor', name: 'group', values: members.map(({ label }) => label), levels };
}

function intervalTimes(members: readonly Grouped[]): { left: number[]; right: number[] } {
  return {
    left: members.map(({ loss }) => loss.left),
    right: members.map(({ loss }) => loss.right ?? Infinity),
  };
}

function regressionOf(
  members: readonly Grouped[],
  reference: string,
  distribution: GroupRegression['distribution'],
  level: number,
): GroupRegression | Refusal {
  const fit = timeRegression(
    { times: intervalTimes(members), distribution, terms: [groupTerm(members, reference)] },
    { level },
  );
  if (isRefusal(fit)) return fit;
  const ratios = (which: 'timeRatio' | 'hazardRatio'): GroupRatio[] =>
    fit.coefficients.flatMap((coefficient) => ratioOf(coefficient, which) ?? []);
  return {
    distribution,
    timeRatios: ratios('timeRatio'),
    hazardRatios: distribution === 'weibull' ? ratios('hazardRatio') : null,
    p: fit.likelihoodRatio?.p ?? null,
    aic: fit.aic,
  };
}

function ratioOf(coefficient: TimeCoefficient, which: 'timeRatio' | 'hazardRatio'): GroupRatio | null {
  const ratio = coefficient[which];
  if (ratio === null) return null;
  const { estimate, lower, upper } = ratio;
  return { label: levelName(coefficient.name), estimate, limits: { lower, upper }, p: coefficient.p };
}

/** The level in a column's name, `group=level`. */
function levelName(column: string): string {
  return column.slice(column.indexOf('=') + 1);
}

function coxRatios(members: readonly Grouped[], reference: string, level: number): GroupRatio[] | Refusal {
  const fit = fitCox(
    {
      time: members.map(({ loss }) => loss.right ?? loss.left),
      event: members.map(({ loss }) => (loss.right === null ? 0 : 1)),
      covariates: [groupTerm(members, reference)],
    },
    { level },
  );
  if (isRefusal(fit)) return fit;
  if (fit.coefficients.some(({ hazardRatio }) => hazardRatio === null)) {
    return refuse(
      'infinite-ratio',
      'In one of the groups nobody, or everybody, was seen to lose the gain: a ratio has no finite value.',
    );
  }
  return fit.coefficients.flatMap(({ name, hazardRatio, pValue }) => {
    if (hazardRatio === null || pValue === null) return [];
    const { estimate, lower, upper } = hazardRatio;
    return [{ label: levelName(name), estimate, limits: { lower, upper }, p: pValue }];
  });
}

function testOf(
  outcomes: readonly PatientOutcome[],
  grouping: Grouping,
  dividing: number,
): Omit<GroupingTest, 'adjustedP'> {
  const members = membersOf(outcomes, grouping, dividing);
  const groups = [...byLabel(members)]
    .map(([label, losses]) => ({ label, patients: losses.length, losses: lossCount(losses) }))
    .sort((a, b) => (a.label < b.label ? -1 : 1));
  const enough = new Set(groups.filter(({ patients }) => patients >= FEWEST).map(({ label }) => label));
  const compared = members.filter(({ label }) => enough.has(label));
  const base = { grouping, groups, unknown: outcomes.length - members.length };
  if (enough.size < 2) return { ...base, test: null, why: onlyOneGroup().message };
  const test = groupTest({ times: intervalTimes(compared), group: compared.map(({ label }) => label) });
  if (isRefusal(test)) return { ...base, test: null, why: test.message };
  const { statistic, df, p } = test;
  return { ...base, test: { statistic, df, p }, why: null };
}

/** Holm 1979: the smallest p times the number of tests, the next times one less, and so on, never falling. */
function withHolm(tests: readonly Omit<GroupingTest, 'adjustedP'>[]): GroupingTest[] {
  const rising = tests
    .flatMap(({ grouping, test }) => (test === null ? [] : [{ grouping, p: test.p }]))
    .sort((a, b) => a.p - b.p);
  const adjusted = new Map<Grouping, number>();
  let least = 0;
  rising.forEach(({ grouping, p }, i) => {
    least = Math.max(least, Math.min(1, p * (rising.length - i)));
    adjusted.set(grouping, least);
  });
  return tests.map((test) => ({ ...test, adjustedP: adjusted.get(test.grouping) ?? null }));
}
