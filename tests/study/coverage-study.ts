import type { RandomStream } from '@longhold/core/numeric';

/**
 * Where the planted truth lay. `undefined`: no interval could be given, which is counted and never left out in silence.
 * `open`: the data allow any value, and the method says so; that covers every truth and is counted as such.
 */
export type Outcome = 'covered' | 'truth-below' | 'truth-above' | 'open' | 'undefined';

/** One interval in one invented situation, drawn again and again with the truth known. */
export interface CoverageStudy {
  /** The interval as the methods page names it. */
  readonly interval: string;
  /** Sample sizes, censoring, true values, in a few words. */
  readonly situation: string;
  readonly level: number;
  readonly replicates: number;
  /** Draws one sample and says where the truth lay. */
  trial(random: RandomStream): Outcome;
}

/** Many intervals that come out of one costly sample: a whole invented study with all its answers. */
export interface JointCoverageStudy {
  readonly situation: string;
  readonly level: number;
  readonly replicates: number;
  /** Draws one sample; by the name of each interval, where the truth lay, once or for each patient. */
  trials(random: RandomStream): Readonly<Record<string, readonly Outcome[]>>;
}

/** Where a truth lies with regard to limits; null limits are open on that side. */
export function outcomeOf(
  truth: number,
  limits: { readonly lower: number | null; readonly upper: number | null } | null,
): Outcome {
  if (limits === null) return 'undefined';
  if (limits.lower !== null && truth < limits.lower) return 'truth-below';
  if (limits.upper !== null && truth > limits.upper) return 'truth-above';
  return 'covered';
}
