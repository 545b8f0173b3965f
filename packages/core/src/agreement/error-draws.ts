import { chiSquaredQuantile, type RandomStream } from '../numeric';
import type { MethodErrorInForce } from './method-error';
import type { ErrorVariances } from './value-error';

/** The variances in force, as a yardstick carries them. */
export function errorVariances({ films, retracingSd }: MethodErrorInForce): ErrorVariances {
  return { film: films.sd ** 2, retracing: retracingSd ** 2 };
}

/**
 * A source of variances that the study's own duplicates and second films leave possible: the estimate times its degrees of
 * freedom over a chi-squared variate of as many. What films add is the whole of second films less that retracing.
 *
 * @returns null where no part was estimated in this study, so that its error is not known
 */
export function errorDraws(error: MethodErrorInForce): ((random: RandomStream) => ErrorVariances) | null {
  const { film, retracing } = errorVariances(error);
  const { retracing: retracingDf, whole: wholeDf } = error.degreesOfFreedom;
  if (retracingDf === null && wholeDf === null) return null;
  return (random) => {
    const drawn = retracing * estimateFactor(retracingDf, random);
    if (wholeDf === null) return { film, retracing: drawn };
    const whole = (film + retracing) * estimateFactor(wholeDf, random);
    return { film: Math.max(0, whole - drawn), retracing: drawn };
  };
}

function estimateFactor(df: number | null, random: RandomStream): number {
  return df === null ? 1 : df / chiSquaredQuantile(1 - random.uniform(), df);
}
