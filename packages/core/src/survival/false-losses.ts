import { normalCumulative, normalMean } from '../numeric';
import type { LossRule } from './loss-interval';

/** One patient's follow-up, as far as false alarms are concerned. Units of the measure. */
export interface AlarmCourse {
  /** How far above the threshold the patient would stand had nothing been lost. */
  readonly trueMargin: number;
  /** SD that all visits share, because the start and end values enter every margin. */
  readonly sharedSd: number;
  /** SD that each visit adds, in order of time. */
  readonly ownSds: readonly number[];
}

/**
 * Probability that measurement error alone makes a loss out of a gain that was kept in full, under a loss rule.
 * Given the error shared by all visits the visits are independent; that shared error is averaged over.
 *
 * @param multiplier one-sided normal quantile of the level, used by `beyond-error`
 */
export function falseLossProbability(course: AlarmCourse, rule: LossRule, multiplier: number): number {
  return normalMean((z) => {
    const margin = course.trueMargin + z * course.sharedSd;
    const alarms = course.ownSds.map((own) => {
      const cut = rule === 'beyond-error' ? -multiplier * Math.hypot(own, course.sharedSd) : 0;
      if (own === 0) return margin < cut ? 1 : 0;
      return normalCumulative((cut - margin) / own);
    });
    return rule === 'confirmed' ? anyTwoInARow(alarms) : 1 - alarms.reduce((none, p) => none * (1 - p), 1);
  });
}

/** Probability that two neighbouring independent alarms both sound, by following the state after each visit. */
function anyTwoInARow(alarms: readonly number[]): number {
  let quiet = 1;
  let oneAlarm = 0;
  for (const p of alarms) [quiet, oneAlarm] = [(quiet + oneAlarm) * (1 - p), quiet * p];
  return 1 - quiet - oneAlarm;
}
