import type { BaselineRow } from './absence-answer';
import type { ChangeYear, SurvivalAtYear } from './answer';
import type { ComparedResults } from './compared-answer';
import { numberText, percentText, pText, ratioIntervalText, shareLimitsText } from './number-text';
import type { RatioInterval } from '../ratio';
import type { FadingAnswer, TestedEstimate } from './separation-answer';
import type { SensitivityRow } from './sensitivity-answer';
import { ASPECT_WORDS } from './sensitivity';
import type { GroupingTest } from './survival-groups-answer';

/** Short texts of table cells that screens and report show alike. */

/** What stands in place of a number that the data do not fix. */
export const NOT_FIXED = 'not fixed by the data';

/** An estimate with its limits and, where there is one, the p of its test: `1.2 mm (0.4 mm to 2.0 mm; p 0.004)`. */
export function testedText(
  { estimate, limits, p }: TestedEstimate,
  write: (value: number) => string,
): string {
  if (limits === null) return NOT_FIXED;
  const test = p === null ? '' : `; p ${pText(p)}`;
  return `${write(estimate)} (${write(limits.lower)} to ${write(limits.upper)}${test})`;
}

/** A share with its Fieller set: `73 % (61 % to 84 %)`. */
export function shareText({
  estimate,
  interval,
}: {
  readonly estimate: number;
  readonly interval: RatioInterval;
}): string {
  return `${percentText(estimate)} (${ratioIntervalText(interval)})`;
}

/** The time constant of a fading part with its profile limits, in years. */
export function tauText({ tau, tauLower, tauUpper, tauBounded }: FadingAnswer): string {
  if (!tauBounded) return NOT_FIXED;
  const end = (value: number | null): string => (value === null ? 'not bounded' : numberText(value, 1));
  return `${numberText(tau, 1)} years (${end(tauLower)} to ${end(tauUpper)})`;
}

/** Between which two yearly windows a change is told. */
export function betweenYearsText({ from, to }: Pick<ChangeYear, 'from' | 'to'>): string {
  return from === 0 ? `the end of treatment and year ${to}` : `year ${from} and year ${to}`;
}

/** A value of a row that compares seen and unseen patients: a share or a mean. */
export function baselineText({ kind }: Pick<BaselineRow, 'kind'>, value: number): string {
  return kind === 'share' ? percentText(value) : numberText(value);
}

/** How many were lost in each group of a grouping: `A 3 of 20; B 5 of 18`. */
export function groupCountsText({ groups }: Pick<GroupingTest, 'groups'>): string {
  return groups.map(({ label, patients, losses }) => `${label} ${losses} of ${patients}`).join('; ');
}

/** What a row of the sensitivity table does differently: `Loss rule: Below at any visit`. */
export function choiceText({
  aspect,
  choice,
  inForce,
}: Pick<SensitivityRow, 'aspect' | 'choice' | 'inForce'>): string {
  const words = ASPECT_WORDS[aspect];
  return `${words.charAt(0).toUpperCase()}${words.slice(1)}: ${choice}${inForce ? ' (as asked)' : ''}`;
}

/** A retained share with its Fieller set and how many it rests on: `73 % (61 % to 84 %; n 24)`. */
export function retainedText({ n, estimate, interval }: NonNullable<ComparedResults['retained']>): string {
  return `${percentText(estimate)} (${ratioIntervalText(interval)}; n ${n})`;
}

/**
 * Survival of one way of answering with its limits and how many are still followed; null where nobody is. A value
 * without limits is a bound, not an estimate.
 */
export function comparedSurvivalText(survival: SurvivalAtYear | null): string | null {
  if (survival?.estimate == null) return null;
  const limits = survival.limits === null ? 'bound' : shareLimitsText(survival.limits);
  return `${percentText(survival.estimate)} (${limits}; at risk ${survival.atRisk})`;
}
