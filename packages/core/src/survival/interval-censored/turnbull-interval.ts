import { createRandom, sampleVariance } from '../../numeric';
import { exactLimits } from '../exact-limits';
import { orderSample, type CensoredInterval } from './innermost-intervals';
import { survivalAt, turnbullOfOrdered, type TurnbullFit } from './turnbull';

/** Pointwise limits of an interval-censored survival curve at given times. */
export interface CurveLimits {
  readonly lower: readonly number[];
  readonly upper: readonly number[];
  readonly resamples: number;
}

/** An error of a millionth per patient in the log-likelihood does not move a variance. */
const RESAMPLE_GAP = 1e-6;

/**
 * Pointwise intervals of Turnbull's curve. Resampling patients with replacement gives the variance of the curve
 * at each time; that variance is turned into the number of fully followed patients that would be as informative,
 * and exact binomial limits for that number are given. Percentiles of the resamples themselves cover too
 * seldom near 1 (89 instead of 95 % with 60 patients at one year, in the project's own simulation).
 * The bootstrap of this estimate is not proven to be consistent when visit times are continuous; its coverage
 * for yearly visits is checked by simulation.
 * Sources: Efron and Tibshirani 1993; Korn and Graubard 1998; Sen and Xu 2015 (the caution).
 *
 * @param fit the curve of `times`
 * @param atRisk number at risk at each of `at`, which stands in where nothing varies (survival 1 or 0)
 * @param hooks progress in [0, 1], and a question asked often whether to stop; null is returned when it says yes
 */
export function turnbullLimits(
  times: readonly CensoredInterval[],
  fit: Pick<TurnbullFit, 'intervals'>,
  at: readonly number[],
  atRisk: readonly number[],
  options: { readonly level: number; readonly resamples: number; readonly seed: number },
  hooks: { readonly progress?: (fraction: number) => void; readonly shouldStop?: () => boolean } = {},
): CurveLimits | null {
  const random = createRandom(options.seed);
  const sample = orderSample(times);
  const draws = at.map(() => [] as number[]);
  for (let resample = 0; resample < options.resamples; resample++) {
    if (hooks.shouldStop?.() === true) return null;
    hooks.progress?.(resample / options.resamples);
    const counts = new Float64Array(times.length);
    for (let i = 0; i < times.length; i++) {
      const drawn = random.integer(times.length);
      counts[drawn] = (counts[drawn] ?? 0) + 1;
    }
    const refit = turnbullOfOrdered(sample, counts, RESAMPLE_GAP);
    at.forEach((time, i) => draws[i]?.push(survivalAt(refit, time).survival));
  }
  const limits = at.map((time, i) => {
    const { survival } = survivalAt(fit, time);
    const size = effectiveSize(survival, draws[i] ?? [], times.length) ?? atRisk[i] ?? 1;
    return exactLimits(survival, size, options.level);
  });
  return {
    lower: limits.map(({ lower }) => lower),
    upper: limits.map(({ upper }) => upper),
    resamples: options.resamples,
  };
}

/** How many fully followed patients would know as much; null where the curve is 1 or 0 and nothing varies. */
function effectiveSize(survival: number, draws: readonly number[], patients: number): number | null {
  const binomial = survival * (1 - survival);
  const variance = sampleVariance(draws);
  if (!(binomial > 1e-12) || !(variance > 1e-12)) return null;
  return Math.min(patients, binomial / variance);
}
