import { twoSidedNormal } from '../../numeric';

/** How a pointwise interval of a survival curve is built. `log-log` stays inside [0, 1] and is the default. */
export type SurvivalIntervalScale = 'log-log' | 'log' | 'plain';

/** One distinct time of a Kaplan-Meier curve. */
export interface KaplanMeierPoint {
  readonly time: number;
  /** Under observation just before this time. */
  readonly atRisk: number;
  readonly events: number;
  readonly censored: number;
  /** From this time on. */
  readonly survival: number;
  /** Greenwood's standard error of the survival. */
  readonly standardError: number;
  readonly lower: number;
  readonly upper: number;
}

/** A right-censored time: `event` false means last seen without the event. */
export interface CensoredTime {
  readonly time: number;
  readonly event: boolean;
}

/**
 * Kaplan-Meier curve with Greenwood standard errors and pointwise intervals, one point a distinct time.
 * At equal times events come before censorings. Where survival is 0 or nothing has happened yet the interval
 * is not defined by these formulas: before the first event both limits are 1, at survival 0 both are NaN.
 * Sources: Kaplan and Meier 1958; Greenwood 1926; Kalbfleisch and Prentice 1980 (log-log).
 */
export function kaplanMeier(
  times: readonly CensoredTime[],
  options: { readonly level?: number; readonly scale?: SurvivalIntervalScale } = {},
): KaplanMeierPoint[] {
  const { level = 0.95, scale = 'log-log' } = options;
  const sorted = [...times].sort((a, b) => a.time - b.time);
  const multiplier = twoSidedNormal(level);
  const points: KaplanMeierPoint[] = [];
  let survival = 1;
  let hazardVariance = 0;
  for (let i = 0; i < sorted.length;) {
    const time = sorted[i]?.time ?? NaN;
    const atRisk = sorted.length - i;
    let events = 0;
    let censored = 0;
    for (; i < sorted.length && sorted[i]?.time === time; i++) {
      if (sorted[i]?.event === true) events++;
      else censored++;
    }
    survival *= 1 - events / atRisk;
    hazardVariance += events / (atRisk * (atRisk - events));
    const relativeError = Math.sqrt(hazardVariance);
    const limits = survivalLimits(survival, relativeError, multiplier, scale);
    const standardError = survival === 0 ? NaN : survival * relativeError;
    points.push({ time, atRisk, events, censored, survival, standardError, ...limits });
  }
  return points;
}

function survivalLimits(
  survival: number,
  relativeError: number,
  multiplier: number,
  scale: SurvivalIntervalScale,
): { lower: number; upper: number } {
  if (survival === 0) return { lower: NaN, upper: NaN };
  const reach = multiplier * relativeError;
  switch (scale) {
    case 'plain':
      return { lower: Math.max(0, survival * (1 - reach)), upper: Math.min(1, survival * (1 + reach)) };
    case 'log':
      return { lower: survival * Math.exp(-reach), upper: Math.min(1, survival * Math.exp(reach)) };
    case 'log-log': {
      if (survival === 1) return { lower: 1, upper: 1 };
      const shift = reach / Math.log(survival);
      return { lower: survival ** Math.exp(-shift), upper: survival ** Math.exp(shift) };
    }
  }
}
