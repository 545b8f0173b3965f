import type { RatioInterval } from '../ratio';
import type { Diagnosis } from '../separation';
import type { SurvivalAtYear } from './answer';
import type { TestedEstimate } from './separation-answer';

/**
 * Fewer patients than this, seen in the year or still followed to it, are shown in a table but span no range: they
 * would stretch it by chance. Common practice, no source.
 */
export const ENOUGH_TO_COMPARE = 10;

/** The main results of one way of answering, for comparing several side by side. */
export interface ComparedResults {
  /** Treated patients whose gain of treatment can be computed. */
  readonly patients: number;
  /** Retained share at the comparison's `retainedYear`; null where it cannot be said. */
  readonly retained: {
    readonly n: number;
    readonly estimate: number;
    readonly interval: RatioInterval;
  } | null;
  /**
   * Survival at the comparison's `survivalYear`, with limits made as the answer's are; null for nobody.
   */
  readonly survival: SurvivalAtYear | null;
  /** The same at the years 1, 2, 3 and 5; a year to which nobody was followed has a null estimate. Empty for nobody at all. */
  readonly atYears: readonly SurvivalAtYear[];
  /** T and its share by the growth clock; null where it could not be fitted, and `lastingRefused` then says why. */
  readonly lasting: TestedEstimate | null;
  readonly share: { readonly estimate: number; readonly interval: RatioInterval } | null;
  readonly diagnosis: Diagnosis | null;
  /** Why there is no lasting gain, in a sentence; null where there is one, or where it is not asked for. */
  readonly lastingRefused: string | null;
}
