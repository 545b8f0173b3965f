import { normalQuantile } from '../numeric';
import type { ContrastEstimate } from './course';
import type { Limits } from './adjusted-gain';

/** Why a status could not be decided, or why there is none. */
export type StatusReason =
  | 'measurement' /* measurement error is the larger part of the doubt */
  | 'growth' /* the child's own growth is the larger part of the doubt */
  | 'gain-not-measurable' /* the lower limit of the gain of treatment is not above zero */
  | 'gain-below-floor' /* the gain of treatment never reached the absolute floor */
  | 'no-baseline' /* no start or no end-of-active-treatment value with an age */
  | 'film-factor-unknown' /* a length on a film whose enlargement is not known */
  | 'no-reference' /* expected growth is not known for this sex or age */
  | 'treated-again';

export type Verdict = 'held' | 'lost' | 'cannot-tell' | 'not-measurable' | 'no-follow-up' | 'treated-again';

/** Verdict on one follow-up visit, or on a patient from the latest visit. */
export interface Status {
  readonly verdict: Verdict;
  readonly reason: StatusReason | null;
  /** D = adjusted gain minus threshold, in the measure's unit; null where not computed. */
  readonly margin: number | null;
  /** Standard deviation of the margin from measurement error alone, and from individual growth and the curve. */
  readonly measurementSd: number | null;
  readonly growthSd: number | null;
  /** One-sided limits of the margin, each at the question's level, both errors together. */
  readonly limits: Limits | null;
}

/**
 * Verdict on a margin D above the threshold. *Held* when even the lower one-sided limit is above zero, *lost*
 * when even the upper one is below it, else *cannot tell*, with the larger of the two doubts as the reason.
 */
export function judgeMargin(margin: ContrastEstimate, level: number): Status {
  const { estimate, measurementVariance, growthVariance } = margin;
  const reach = normalQuantile(level) * Math.sqrt(measurementVariance + growthVariance);
  const limits = { lower: estimate - reach, upper: estimate + reach };
  const measured = {
    margin: estimate,
    measurementSd: Math.sqrt(measurementVariance),
    growthSd: Math.sqrt(growthVariance),
    limits,
  };
  if (limits.lower > 0) return { verdict: 'held', reason: null, ...measured };
  if (limits.upper < 0) return { verdict: 'lost', reason: null, ...measured };
  const reason = measurementVariance >= growthVariance ? 'measurement' : 'growth';
  return { verdict: 'cannot-tell', reason, ...measured };
}

/** A status that needs no margin. */
export function statusWithout(verdict: Verdict, reason: StatusReason | null): Status {
  return { verdict, reason, margin: null, measurementSd: null, growthSd: null, limits: null };
}
