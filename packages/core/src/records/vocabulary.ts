import { z } from 'zod';

/** The closed word lists of the records. Import, store, screens and reports all use these words. */
export const sexSchema = z.enum(['female', 'male']);
export type Sex = z.infer<typeof sexSchema>;

/** `untreated` patients form the comparison series from which expected growth is learnt. */
export const groupSchema = z.enum(['treated', 'untreated']);
export type Group = z.infer<typeof groupSchema>;

/** Stage of cervical vertebral maturation, CS1 (before the growth spurt) to CS6 (long after it). */
export const maturityStageSchema = z.enum(['CS1', 'CS2', 'CS3', 'CS4', 'CS5', 'CS6']);
export type MaturityStage = z.infer<typeof maturityStageSchema>;

export const visitKindSchema = z.enum(['start', 'end_of_active', 'follow_up']);
export type VisitKind = z.infer<typeof visitKindSchema>;

/**
 * How it is known by what a film enlarges: a ruler shown on it, the distances of the apparatus, an image whose
 * pixels were calibrated, or the word of whoever published or sent the values.
 */
export const filmFactorEvidenceSchema = z.enum([
  'ruler_on_film',
  'apparatus_distances',
  'calibrated_image',
  'stated_by_source',
]);
export type FilmFactorEvidence = z.infer<typeof filmFactorEvidenceSchema>;

export const eventKindSchema = z.enum(['treated_again', 'withdrew', 'moved', 'declined']);
export type EventKind = z.infer<typeof eventKindSchema>;
