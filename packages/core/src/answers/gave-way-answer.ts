import { z } from 'zod';
import type { RatioInterval } from '../ratio';
import type { Limits } from '../retention';
import type { MeanDifference } from './welch-difference';

/** The interval between two records that a split is about. */
export const splitSpanSchema = z.enum(['treatment', 'since', 'whole']);
export type SplitSpan = z.infer<typeof splitSpanSchema>;

/** The mean of one part over patients, with a t interval; mm (degrees for the turn of the lower jaw). */
export interface PartMean {
  /** Name of the part, as it is written. */
  readonly name: string;
  readonly mean: number;
  /** Null for fewer than two patients. */
  readonly limits: Limits | null;
  /**
   * What untreated children of the same ages change in the same time, and how many they are; null where fewer than five
   * of them have the points at two visits a year apart or more.
   */
  readonly untreated: { readonly mean: number; readonly n: number } | null;
  /** Treated less untreated with Welch's interval; null where there is no comparison, or but one treated patient. */
  readonly beyondUntreated: MeanDifference | null;
}

/**
 * Why a patient with both records is not in a split: lengths on films whose factor is not known, a point not read, or a
 * chin further ahead of the condyle than the jaw is long.
 */
export const splitLeftOutSchema = z.enum(['film-factor-unknown', 'points-missing', 'impossible-points']);
export type SplitLeftOut = z.infer<typeof splitLeftOutSchema>;

/** One split over one span of time. */
export interface SplitAnswer {
  readonly span: SplitSpan;
  /** Patients with all points at both records. */
  readonly n: number;
  /** Patients with both records who are not in it, by reason; reasons that hold for nobody are not listed. */
  readonly leftOut: readonly { readonly reason: SplitLeftOut; readonly codes: readonly string[] }[];
  /** Patients without both records, or whose ages at them are not known. */
  readonly withoutRecords: number;
  /** Mean years between the two records; null for nobody. */
  readonly years: number | null;
  readonly whole: PartMean | null;
  /** They sum to the whole. */
  readonly parts: readonly PartMean[];
  /** Skeletal share of the whole, with Fieller's set; null for the chin, and for fewer than two patients. */
  readonly skeletalShare: { readonly estimate: number; readonly interval: RatioInterval } | null;
}

/** How the jaw and the teeth share what happened. Positive is favourable: overjet and molar relation corrected, chin forward. */
export interface GaveWayAnswer {
  /** The year after the end of active treatment up to which it is told; null where nobody can be told of. */
  readonly year: number | null;
  readonly overjet: readonly SplitAnswer[];
  readonly molar: readonly SplitAnswer[];
  readonly chin: readonly SplitAnswer[];
  /** Degrees by which the lower jaw turned, forward positive, over the spans of `chin`. */
  readonly turn: readonly { readonly span: SplitSpan; readonly degrees: PartMean | null }[];
  /** Overjet as recorded less that of the film's points, over all visits with both: a disagreement makes the split doubtful. */
  readonly agreement: { readonly n: number; readonly mean: number; readonly limits: Limits } | null;
}
