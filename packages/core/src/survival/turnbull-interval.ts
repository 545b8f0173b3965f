import { createRandom, sortedQuantile } from '../numeric';
import { exactLimits } from './exact-limits';
import type { CensoredInterval } from './innermost-intervals';
import { survivalAt, turnbull } from './turnbull';

/** Pointwise limits of an interval-censored survival curve at given times. */
export interface BootstrapLimits {
  readonly lower: readonly number[];
  readonly upper: readonly number[];
  readonly resamples: number;
}

/** An error of a millionth per patient in the log-likelihood does not move a percentile. */
const RESAMPLE_GAP = 1e-6;

/**
 * Pointwise percentile intervals of Turnbull's curve by resampling patients with replacement.
 * Where all resamples agree on 1 (or 0) the bootstrap knows of no doubt although there is one; there the limit
 * is the exact binomial one for the number at risk. The bootstrap of this estimate is not proven to be
 * consistent when visit times are continuous (its rate is slower than the square root of n); its coverage for
 * yearly visits is checked by simulation.
 * Sources: Efron and Tibshirani 1993; Clopper and Pearson 1934; Sen and Xu 2015 (the caution).
 *
 * @param atRisk number at risk at each of `at`, for the exact limits
 * @param hooks progress in [0, 1], and a question asked often whether to stop; null is returned when it says yes
 */
export function bootstrapLimits(
  times: readonly CensoredInterval[],
  at: readonly number[],
  atRisk: readonly number[],
  options: { readonly level: number; readonly resamples: number; readonly seed: number },
  hooks: { readonly progress?: (fraction: number) => void; readonly shouldStop?: () => boolean } = {},
): BootstrapLimits | null {
  const random = createRandom(options.seed);
  const draws = at.map(() => new Float64Array(options.resamples));
  for (let resample = 0; resample < options.resamples; resample++) {
    if (hooks.shouldStop?.() === true) return null;
    hooks.progress?.(resample / options.resamples);
    const drawn = times.map(() => times[random.integer(times.length)] ?? { left: 0, right: null });
    const fit = turnbull(drawn, RESAMPLE_GAP);
    at.forEach((time, i) => {
      const column = draws[i];
      if (column !== undefined) column[resample] = survivalAt(fit, time).survival;
    });
  }
  const limits = draws.map((column, i) => percentileLimits(column.sort(), options.level, atRisk[i] ?? 0));
  return {
    lower: limits.map(({ lower }) => lower),
    upper: limits.map(({ upper }) => upper),
    resamples: options.resamples,
  };
}

function percentileLimits(
  sorted: Float64Array,
  level: number,
  atRisk: number,
): { lower: number; upper: number } {
  const tail = (1 - level) / 2;
  const lower = sortedQuantile(sorted, tail);
  const upper = sortedQuantile(sorted, 1 - tail);
  if (lower > 1 - ROUNDING) return exactLimits(1, atRisk, level);
  if (upper < ROUNDING) return exactLimits(0, atRisk, level);
  return { lower, upper };
}

const ROUNDING = 1e-9;
