import type { Limits } from '../retention';

/** Survival at one time under the estimate and under the two extremes for those who stayed away. */
export interface BoundedSurvival {
  /** Years since the end of active treatment. */
  readonly years: number;
  /** As estimated, which takes those who stayed away to be like those who came. */
  readonly estimate: number;
  /** Everybody who stayed away lost the gain right after the last visit, those never seen at once; lower end of gaps. */
  readonly worst: number;
  /** Everybody who stayed away still has it on the day of the question; upper end of gaps. */
  readonly best: number;
}

/** Survival if a share of those who stayed away had lost the gain right after their last visit. */
export interface TippedSurvival {
  readonly lostShare: number;
  readonly survival: number;
  /** Lower exact limit for as many patients as the answer's own limits speak of; the answer's own for a share of 0. */
  readonly lower: number;
}

/** The group's retained share if the unseen had kept a given share of their gain. */
export interface TippedShare {
  readonly unseenShare: number;
  readonly overall: number;
  /** Lower end of Fieller's set over seen and unseen with the growth reference's doubt, the assumed taken as known; null where it has none. */
  readonly lower: number | null;
}

/**
 * Whether a result crosses a limit as the missing get worse: it does, it stays at or above it however bad they are, or it
 * lies below it however good.
 */
export type Crossing = 'tips' | 'always-above' | 'always-below';

/** How far the missing would have to differ to overturn a conclusion. */
export interface TippingPoint<Row> {
  readonly year: number;
  /** The value that the conclusion stands or falls with. */
  readonly limit: number;
  readonly crossing: Crossing;
  /** Where the result crosses the limit; null unless it tips. */
  readonly at: number | null;
  /** The same for the lower limit of the result's interval. */
  readonly lowerCrossing: Crossing;
  readonly lowerAt: number | null;
  readonly table: readonly Row[];
}

/** The tipping point of the retained share, with the numbers behind it. */
export interface ShareTip extends TippingPoint<TippedShare> {
  readonly seen: number;
  readonly unseen: number;
  /** Mean gain of the seen in that year, and the one the unseen would have to have for the limit; unit of the measure. */
  readonly seenMean: number;
  readonly unseenMeanAtLimit: number;
}

/** One characteristic of seen and unseen patients. */
export interface BaselineRow {
  readonly name: string;
  /** `mean`: of a number; `share`: of patients. */
  readonly kind: 'mean' | 'share';
  readonly unit: string;
  readonly seen: { readonly n: number; readonly value: number };
  readonly unseen: { readonly n: number; readonly value: number };
  /** Seen minus unseen, with limits (Welch for means, Newcombe for shares). */
  readonly difference: number;
  readonly limits: Limits;
  /** Difference over the SD of both groups together; above 0.25 is commonly called large. Null without spread. */
  readonly standardised: number | null;
}

/** Those who did not come back, and what they could do to the answers. */
export interface AbsenceAnswer {
  /** In the risk set or with a gain that could have been followed. */
  readonly patients: number;
  /** Last seen, measured or not, more than a year and a half before the day of the question, though not treated again. */
  readonly stayedAway: number;
  /** Never seen after the end of active treatment although that was more than a year and a half ago. */
  readonly neverSeen: number;
  /** At quarter years. */
  readonly bounds: readonly BoundedSurvival[];
  readonly survivalTip: TippingPoint<TippedSurvival> | null;
  readonly shareTip: ShareTip | null;
  /** Seen and unseen in the year of `shareTip`; empty where either group has fewer than five patients. */
  readonly baseline: readonly BaselineRow[];
}
