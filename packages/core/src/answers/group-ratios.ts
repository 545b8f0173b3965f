import {
  isRefusal,
  normalTwoSidedP,
  refuse,
  resampledVariance,
  twoSidedNormal,
  type FactorTerm,
  type Refusal,
} from '../numeric';
import { fitCox, timeRegression, type CensoredInterval, type TimeCoefficient } from '../survival';
import { drawsBeside, type DrawnLosses } from './drawn-losses';
import type { GroupRatio, GroupRegression } from './survival-groups-answer';

/** A curve of fewer patients than this would show single patients, not a group. */
export const FEWEST_IN_GROUP = 5;

/** A patient's group and time to loss. */
export interface Grouped {
  readonly label: string;
  readonly loss: CensoredInterval;
}

/** The same groups under each draw of curve and error. */
export type DrawnGroups = readonly (readonly Grouped[])[];

/** Members of the groups that are shown, under as many draws as their number allows in good time. */
export function drawnGroups(
  drawn: DrawnLosses,
  codes: ReadonlyMap<string, ReadonlySet<string>>,
  shown: ReadonlySet<string>,
): DrawnGroups {
  const labelOf = new Map<string, string>();
  for (const [label, members] of codes) {
    if (shown.has(label)) for (const code of members) labelOf.set(code, label);
  }
  const own = drawn.among(new Set(labelOf.keys()));
  return drawsBeside(own).map(({ left, right }) =>
    own.codes.flatMap((code, i) => {
      const [label, from, to] = [labelOf.get(code), left[i] ?? NaN, right[i] ?? NaN];
      if (label === undefined || Number.isNaN(from)) return [];
      return [{ label, loss: { left: from, right: to === Infinity ? null : to } }];
    }),
  );
}

/** What a regression of the groups is asked for. */
export interface RatioOptions {
  readonly reference: string;
  readonly distribution: GroupRegression['distribution'];
  readonly level: number;
  /** Null where neither curve nor error have a known uncertainty. */
  readonly drawn: DrawnGroups | null;
}

/**
 * Regression of the interval-censored times on the groups. To the variance of each log ratio is added how much it varies
 * under drawn curves and errors.
 */
export function regressionOf(
  members: readonly Grouped[],
  { reference, distribution, level, drawn }: RatioOptions,
): GroupRegression | Refusal {
  const levels = levelsOf(members, reference);
  const fit = fitOf(members, levels, distribution, level);
  if (isRefusal(fit)) return fit;
  const refits = (drawn ?? []).flatMap((one) => {
    const again = fitOf(one, levels, distribution, level);
    return isRefusal(again) ? [] : [again.coefficients];
  });
  const isCarried = drawn !== null && refits.length >= drawn.length / 2;
  const ratios = (which: 'timeRatio' | 'hazardRatio'): GroupRatio[] =>
    fit.coefficients.flatMap((coefficient) => {
      const again = refits.flatMap(
        (coefficients) => coefficients.find(({ name }) => name === coefficient.name) ?? [],
      );
      const carriedSd = (ratio: 'timeRatio' | 'hazardRatio'): number | null =>
        isCarried ? spreadOf(again, ratio) : null;
      // Both ratios test the same: that the group's coefficient is 0.
      const p = normalTwoSidedP(
        coefficient.estimate / Math.hypot(coefficient.standardError, carriedSd('timeRatio') ?? 0),
      );
      return ratioOf(coefficient, which, { level, carriedSd: carriedSd(which), p }) ?? [];
    });
  return {
    distribution,
    timeRatios: ratios('timeRatio'),
    hazardRatios: distribution === 'weibull' ? ratios('hazardRatio') : null,
    p: fit.likelihoodRatio?.p ?? null,
    aic: fit.aic,
  };
}

/** Standard deviation of a log ratio over the draws. */
function spreadOf(again: readonly TimeCoefficient[], which: 'timeRatio' | 'hazardRatio'): number {
  const logs = again.flatMap((coefficient) => {
    const ratio = coefficient[which];
    return ratio === null ? [] : [Math.log(ratio.estimate)];
  });
  return Math.sqrt(resampledVariance(logs));
}

function fitOf(
  members: readonly Grouped[],
  levels: readonly string[],
  distribution: GroupRegression['distribution'],
  level: number,
): ReturnType<typeof timeRegression> {
  const terms = [groupTerm(members, levels)];
  return timeRegression({ times: intervalTimes(members), distribution, terms }, { level });
}

function ratioOf(
  coefficient: TimeCoefficient,
  which: 'timeRatio' | 'hazardRatio',
  { level, ...doubt }: { readonly level: number } & Pick<GroupRatio, 'carriedSd' | 'p'>,
): GroupRatio | null {
  const ratio = coefficient[which];
  if (ratio === null) return null;
  const { estimate, lower, upper } = ratio;
  const quantile = twoSidedNormal(level);
  const own = (Math.log(upper) - Math.log(lower)) / (2 * quantile);
  const reach = Math.exp(quantile * Math.hypot(own, doubt.carriedSd ?? 0));
  const limits = { lower: estimate / reach, upper: estimate * reach };
  return { label: levelName(coefficient.name), estimate, limits, ...doubt };
}

/** The level in a column's name, `group=level`. */
function levelName(column: string): string {
  return column.slice(column.indexOf('=') + 1);
}

/** Cox's regression of the conventional times, as other reports have it: without the uncertainty of curve and error. */
export function coxRatios(
  members: readonly Grouped[],
  reference: string,
  level: number,
): GroupRatio[] | Refusal {
  const fit = fitCox(
    {
      time: members.map(({ loss }) => loss.right ?? loss.left),
      event: members.map(({ loss }) => (loss.right === null ? 0 : 1)),
      covariates: [groupTerm(members, levelsOf(members, reference))],
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
    return [{ label: levelName(name), estimate, limits: { lower, upper }, p: pValue, carriedSd: null }];
  });
}

/** Why there is nothing to compare. */
export function onlyOneGroup(): Refusal {
  return refuse('one-group', `There are not two groups of ${FEWEST_IN_GROUP} patients or more to compare.`);
}

function levelsOf(members: readonly Grouped[], reference: string): string[] {
  const others = [...new Set(members.map(({ label }) => label))].filter((label) => label !== reference);
  return [reference, ...others.sort()];
}

function groupTerm(members: readonly Grouped[], levels: readonly string[]): FactorTerm {
  return { kind: 'factor', name: 'group', values: members.map(({ label }) => label), levels };
}

/** The members' times as columns. */
export function intervalTimes(members: readonly Grouped[]): { left: number[]; right: number[] } {
  return {
    left: members.map(({ loss }) => loss.left),
    right: members.map(({ loss }) => loss.right ?? Infinity),
  };
}
