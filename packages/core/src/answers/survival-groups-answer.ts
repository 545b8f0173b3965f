import type { Refusal } from '../numeric';
import type { Limits } from '../retention';
import type { CurvePoint, SurvivalAnswer, SurvivalAtYear } from './answer';
import type { Grouping } from './question';

/** Survival of the gain in one group. */
export interface GroupSurvival {
  /** The group's name as it is written: a protocol's code, or words. */
  readonly label: string;
  readonly patients: number;
  readonly losses: number;
  readonly points: readonly CurvePoint[];
  readonly atYears: readonly SurvivalAtYear[];
  /**
   * Mean years with the gain of the first so many, the same number in every group that has one; null where ten of the
   * group are not followed for a year.
   */
  readonly restrictedMean: SurvivalAnswer['turnbull']['restrictedMean'];
}

/** By how many years more a group keeps the gain than the reference group, of the years that are counted. */
export interface GroupMeanDifference {
  readonly label: string;
  readonly estimate: number;
  readonly limits: Limits;
  /** How far the places where the two curves are not defined can move the estimate. */
  readonly undefinedWithin: Limits;
}

/** A ratio against the reference group. */
export interface GroupRatio {
  readonly label: string;
  readonly estimate: number;
  readonly limits: Limits;
  readonly p: number;
  /**
   * What the uncertainty of growth curve and method error adds to the standard error of the ratio's logarithm, as a standard
   * deviation; it is in the limits and in p. Null where it is not known, and for Cox's conventional ratios.
   */
  readonly carriedSd: number | null;
}

/** A regression of interval-censored times on the groups. */
export interface GroupRegression {
  readonly distribution: 'weibull' | 'log-logistic';
  /** By what the time to loss is multiplied against the reference group: above 1 the gain stays longer. */
  readonly timeRatios: readonly GroupRatio[];
  /** By what the hazard of loss is multiplied; null for the log-logistic model, whose hazards are not proportional. */
  readonly hazardRatios: readonly GroupRatio[] | null;
  /** All groups together: likelihood ratio. */
  readonly p: number | null;
  readonly aic: number;
}

/** One way to group the patients, with its test. */
export interface GroupingTest {
  readonly grouping: Grouping;
  readonly groups: readonly { readonly label: string; readonly patients: number; readonly losses: number }[];
  /** In the risk set, but their group is not recorded. */
  readonly unknown: number;
  /**
   * Log-rank test for interval-censored times (scores of Sun 1996, permutation variance, to which is added how the scores
   * vary with growth curve and method error); null where it cannot be made.
   */
  readonly test: {
    readonly statistic: number;
    readonly df: number;
    readonly p: number;
    /** The same with growth curve and method error taken as they are. */
    readonly asKnown: { readonly statistic: number; readonly p: number; readonly adjustedP: number };
  } | null;
  /** The p value after Holm's correction for all groupings that could be tested. */
  readonly adjustedP: number | null;
  /** Why there is no test; null where there is one. */
  readonly why: string | null;
}

/** Survival of the gain by groups. */
export interface SurvivalGroupsAnswer {
  readonly grouping: Grouping;
  /** In rising order of label; groups with fewer than five patients are listed in `tooSmall` instead. */
  readonly groups: readonly GroupSurvival[];
  readonly tooSmall: readonly { readonly label: string; readonly patients: number }[];
  /** The group that ratios compare with: the largest. Null where there are not two groups. */
  readonly reference: string | null;
  /** Restricted means less that of the reference; empty where there are none. */
  readonly meanDifferences: readonly GroupMeanDifference[];
  readonly regressions: readonly (GroupRegression | Refusal)[];
  /** Cox regression of the conventional, right-censored times, for comparison with other reports. */
  readonly cox: readonly GroupRatio[] | Refusal;
  /** Resamples behind each group's limits. */
  readonly resamples: number;
  /** The gain that divides small from large ones, unit of the measure; null for other groupings. */
  readonly dividingGain: number | null;
  /** Every grouping with its test, since whoever looks at several should know of all. */
  readonly tests: readonly GroupingTest[];
}
