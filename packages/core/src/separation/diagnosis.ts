import { z } from 'zod';
import type { LastingShare } from './lasting-share';
import type { TwoPartFit } from './two-part-model';

/**
 * What the data say about the kind of gain.
 * - `lasting`: gain that lasts is shown, and at most a quarter of it can have been growth brought forward
 * - `brought-forward`: growth brought forward is shown, and at most a quarter of the gain can be lasting
 * - `both`: each part is shown
 * - `lasting-shown`: lasting gain is shown; how much was brought forward cannot be told yet
 * - `forward-shown`: growth brought forward is shown; whether anything lasts cannot be told yet
 * - `cannot-tell`: neither part can be told from nothing
 * - `no-gain`: the mean gain at the end of treatment is not clearly above zero, so there is nothing to split
 */
export const diagnosisSchema = z.enum([
  'lasting',
  'brought-forward',
  'both',
  'lasting-shown',
  'forward-shown',
  'cannot-tell',
  'no-gain',
]);
export type Diagnosis = z.infer<typeof diagnosisSchema>;

/** A share of the gain up to which a part may still be there and yet be called absent. Longhold's own choice. */
export const NEGLIGIBLE_SHARE = 0.25;

/**
 * The reading of a two-part fit. A part is shown when its lower limit lies above zero; it is called absent only when
 * its share's limit is small, never because a test failed to show it.
 */
export function diagnose(
  { lasting, passing }: Pick<TwoPartFit, 'lasting' | 'passing'>,
  { gainAtEnd, interval }: LastingShare,
): Diagnosis {
  if (gainAtEnd.limits.lower <= 0) return 'no-gain';
  const lastingShown = (lasting.lower ?? -1) > 0;
  const forwardShown = (passing.lower ?? -1) > 0;
  if (lastingShown && forwardShown) return 'both';
  if (lastingShown) {
    const least = interval.kind === 'bounded' || interval.kind === 'at-least' ? interval.lower : -Infinity;
    return least >= 1 - NEGLIGIBLE_SHARE ? 'lasting' : 'lasting-shown';
  }
  if (forwardShown) {
    const most = interval.kind === 'bounded' || interval.kind === 'at-most' ? interval.upper : Infinity;
    return most <= NEGLIGIBLE_SHARE ? 'brought-forward' : 'forward-shown';
  }
  return 'cannot-tell';
}
