import { refuse, twoSidedNormal, type Refusal } from '../../numeric';
import type { KaplanMeierCurve } from './kaplan-meier';

/** Mean time without the event, counted up to a horizon. */
export interface RestrictedMean {
  /** The horizon tau. */
  readonly horizon: number;
  /** Area under the curve from 0 to the horizon, unit of time. */
  readonly mean: number;
  readonly standardError: number;
  /** Normal limits, cut at 0 and at the horizon; null where nothing varies (no event before the horizon). */
  readonly lower: number | null;
  readonly upper: number | null;
}

/**
 * Restricted mean survival time: the area under the Kaplan-Meier curve up to a horizon, with its standard error from
 * Greenwood's sum, `sqrt(sum (area from t_i to tau)^2 d_i / (n_i (n_i - d_i)))`.
 * Sources: Irwin 1949; Klein and Moeschberger 2003, section 4.5.
 *
 * @param horizon above 0 and not after the last time observed, unless the curve has fallen to 0; default that time
 */
export function restrictedMean(
  curve: KaplanMeierCurve,
  horizon: number = curve.time[curve.time.length - 1] ?? NaN,
): RestrictedMean | Refusal<'wrong-horizon' | 'horizon-after-last-time'> {
  const { time, survival, atRisk, events } = curve;
  const last = time.length - 1;
  if (!(horizon > 0 && horizon < Infinity)) {
    return refuse('wrong-horizon', `The horizon is ${horizon}; it must be a finite time above 0.`);
  }
  if (horizon > (time[last] ?? NaN) && (survival[last] ?? NaN) > 0) {
    return refuse(
      'horizon-after-last-time',
      `The horizon is ${horizon}, but nobody was observed after ${time[last]}; take that or an earlier time.`,
    );
  }
  let area = 0;
  let variance = 0;
  let end = horizon;
  for (let i = last; i >= 0; i--) {
    const start = time[i] ?? NaN;
    if (start >= horizon) continue;
    area += (end - start) * (survival[i] ?? NaN);
    end = start;
    const n = atRisk[i] ?? NaN;
    const d = events[i] ?? NaN;
    // Where everyone at risk had the event no area follows, and Greenwood's term is taken as 0.
    if (d > 0 && d < n) variance += (area * area * d) / (n * (n - d));
  }
  const mean = area + end;
  const standardError = Math.sqrt(variance);
  const reach = twoSidedNormal(curve.level) * standardError;
  const varies = standardError > 0;
  return {
    horizon,
    mean,
    standardError,
    lower: varies ? Math.max(0, mean - reach) : null,
    upper: varies ? Math.min(horizon, mean + reach) : null,
  };
}
