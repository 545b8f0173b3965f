import type { CensoredInterval } from './interval-censored/innermost-intervals';

/** What one follow-up visit says of the gain: the margin above the threshold and its measurement error. */
export interface MarginVisit {
  /** Years since the end of active treatment, above 0. */
  readonly years: number;
  /** Adjusted gain minus threshold, unit of the measure. */
  readonly margin: number;
  /** Standard deviation of the margin from measurement error alone. */
  readonly measurementSd: number;
}

/**
 * What counts as a loss of the gain.
 * - `any-visit`: the first visit at which the estimate lies below the threshold.
 * - `beyond-error`: the first visit at which it lies below by more than measurement error allows.
 * - `confirmed`: the first visit below the threshold that the next visit confirms.
 */
export type LossRule = 'any-visit' | 'beyond-error' | 'confirmed';

/**
 * When the gain was lost, as far as visits can tell: after the last visit without a loss and no later than the
 * first visit with one. Without a loss the time is right-censored at the last visit that showed none. Under
 * `confirmed` a last visit below the threshold has nobody to confirm it and so does not count as without.
 *
 * @param visits in order of time; at least one
 * @param multiplier one-sided normal quantile of the level, used by `beyond-error`
 */
export function lossInterval(
  visits: readonly MarginVisit[],
  rule: LossRule,
  multiplier: number,
): CensoredInterval {
  let left = 0;
  for (let i = 0; i < visits.length; i++) {
    const visit = visits[i];
    if (visit === undefined) break;
    const next = visits[i + 1];
    if (isLoss(visit, next, rule, multiplier)) return { left, right: visit.years };
    if (rule === 'confirmed' && visit.margin < 0 && next === undefined) break;
    left = visit.years;
  }
  return { left, right: null };
}

function isLoss(
  visit: MarginVisit,
  next: MarginVisit | undefined,
  rule: LossRule,
  multiplier: number,
): boolean {
  switch (rule) {
    case 'any-visit':
      return visit.margin < 0;
    case 'beyond-error':
      return visit.margin < -multiplier * visit.measurementSd;
    case 'confirmed':
      return visit.margin < 0 && next !== undefined && next.margin < 0;
  }
}

/** Patients still followed at a time and not yet seen lost. A loss found at a visit counts as seen from that visit on. */
export function numberAtRisk(times: readonly CensoredInterval[], at: number): number {
  return times.filter(({ left, right }) => (right ?? left) >= at).length;
}
