import type { ReadingCounts } from '../records';

/** The two parts of measurement error of one measure, as variances in its unit squared. */
export interface ErrorVariances {
  /** Between films of one visit: what a film adds, however often it is read. */
  readonly film: number;
  /** Of reading one film once. */
  readonly retracing: number;
}

/** A value that rests on one film read once. */
export const READ_ONCE: ReadingCounts = { readings: 1, films: 1, retracingShare: 1 };

/**
 * Variance of a visit's value from measurement error, unit squared. Further films divide both parts, further readings
 * of a film the retracing part only.
 */
export function valueErrorVariance(
  { film, retracing }: ErrorVariances,
  { films, retracingShare }: Pick<ReadingCounts, 'films' | 'retracingShare'>,
): number {
  return film / films + retracing * retracingShare;
}
