import { twoSidedStudent } from '../numeric';

/** Degrees of freedom of the t distribution of a prediction interval, from the number of studies. */
export type PredictionDegrees = 'studies-minus-two' | 'studies-minus-one';

/** Where the true mean of a further study of the same kind is expected. */
export interface PredictionInterval {
  readonly lower: number;
  readonly upper: number;
  readonly degreesOfFreedom: number;
}

/**
 * mean +- t sqrt(tau^2 + standard error^2), with the standard error of the interval in use. Degrees of freedom: studies
 * less two in Higgins, Thompson and Spiegelhalter 2009, one each for the mean and for tau^2; some programs take studies
 * less one, which covers less often (docs/validation.md). Neither is exact: with few studies tau^2 is hardly known, and
 * no t distribution can mend an estimate of 0.
 *
 * @returns null where no degree of freedom is left
 */
export function predictionInterval(
  mean: { readonly estimate: number; readonly standardError: number },
  tauSquared: number,
  studies: number,
  options: { readonly degrees: PredictionDegrees; readonly level: number },
): PredictionInterval | null {
  const degreesOfFreedom = studies - (options.degrees === 'studies-minus-two' ? 2 : 1);
  if (degreesOfFreedom < 1) return null;
  const half =
    twoSidedStudent(options.level, degreesOfFreedom) * Math.sqrt(tauSquared + mean.standardError ** 2);
  return { lower: mean.estimate - half, upper: mean.estimate + half, degreesOfFreedom };
}
