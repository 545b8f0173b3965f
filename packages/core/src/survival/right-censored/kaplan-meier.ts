import { checkColumn, FINITE, refuse, twoSidedNormal, type Refusal } from '../../numeric';
import { visitMoments } from './moments';
import { probabilityLimits, type ProbabilityScale } from './probability-limits';
import { lastNotAfter } from './step-search';
import {
  checkTimes,
  distinctTimes,
  orderTimes,
  type OrderedTimes,
  type RightCensoredTimes,
  type TimesRefusal,
} from './times';

/**
 * A Kaplan-Meier curve: a step function that falls at event times. `time` holds every distinct time of an event or
 * of a censoring, rising; each other column has one entry for each of them.
 */
export interface KaplanMeierCurve {
  /** Rows, each counted as often as it was observed. */
  readonly observations: number;
  /** Of these, how many ended with the event. */
  readonly observedEvents: number;
  /** Confidence level of the limits. */
  readonly level: number;
  readonly scale: ProbabilityScale;
  readonly time: Float64Array;
  /** Under observation just before the time. */
  readonly atRisk: Float64Array;
  readonly events: Float64Array;
  readonly censored: Float64Array;
  /** From the time on, up to the next. */
  readonly survival: Float64Array;
  /** Greenwood's, of the survival. 0 before the first event; null where survival is 0, for it is undefined there. */
  readonly standardError: readonly (number | null)[];
  /** Pointwise limits; null where survival is 1 or 0, for the estimated variance says nothing there. */
  readonly lower: readonly (number | null)[];
  readonly upper: readonly (number | null)[];
  /**
   * With late entry: a time at which everyone then under observation had the event although others were observed
   * later. The curve stays 0 from there on and says nothing of those. Null where there is no such time.
   */
  readonly emptiedAt: number | null;
}

/** How the limits of a curve are made. */
export interface SurvivalOptions {
  /** Confidence level in (0, 1); default 0.95. */
  readonly level?: number | undefined;
  /** Default `log-log`. */
  readonly scale?: ProbabilityScale | undefined;
}

/**
 * Kaplan-Meier curve with Greenwood's standard error and pointwise intervals.
 * Sources: Kaplan and Meier 1958; Greenwood 1926; Kalbfleisch and Prentice 1980 (log-log);
 * Tsai, Jewell and Wang 1987 (late entry).
 */
export function kaplanMeier(
  columns: RightCensoredTimes,
  options: SurvivalOptions = {},
): KaplanMeierCurve | TimesRefusal | Refusal<'wrong-level'> {
  const { level = 0.95, scale = 'log-log' } = options;
  const fault = checkTimes(columns) ?? checkLevel(level);
  if (fault !== null) return fault;
  const rows = orderTimes({ ...columns, kind: columns.event });
  return { ...curveOf(rows, twoSidedNormal(level), scale), level, scale };
}

/** A refusal of a level outside (0, 1), or null. */
export function checkLevel(level: number): Refusal<'wrong-level'> | null {
  if (level > 0 && level < 1) return null;
  return refuse('wrong-level', `level is ${level}; it must lie between 0 and 1, as 0.95 does.`);
}

function curveOf(
  rows: OrderedTimes,
  multiplier: number,
  scale: ProbabilityScale,
): Omit<KaplanMeierCurve, 'level' | 'scale'> {
  const size = distinctTimes(rows);
  const time = new Float64Array(size);
  const atRisk = new Float64Array(size);
  const events = new Float64Array(size);
  const censored = new Float64Array(size);
  const survival = new Float64Array(size);
  const standardError: (number | null)[] = [];
  const lower: (number | null)[] = [];
  const upper: (number | null)[] = [];
  let alive = 1;
  let hazardVariance = 0;
  let observations = 0;
  let observedEvents = 0;
  let emptiedAt: number | null = null;
  let step = 0;
  visitMoments(rows, 1, 1, (moment) => {
    const n = moment.atRisk[0] ?? NaN;
    const d = moment.counts[1] ?? NaN;
    if (d > 0) {
      alive = d === n ? 0 : alive * (1 - d / n);
      hazardVariance += d / (n * (n - d));
      if (d === n && emptiedAt === null) emptiedAt = moment.time;
    }
    const error = alive > 0 ? alive * Math.sqrt(hazardVariance) : null;
    const limits = error === null ? null : probabilityLimits(alive, error, multiplier, scale);
    time[step] = moment.time;
    atRisk[step] = n;
    events[step] = d;
    censored[step] = moment.counts[0] ?? NaN;
    survival[step] = alive;
    standardError.push(error);
    lower.push(limits?.lower ?? null);
    upper.push(limits?.upper ?? null);
    observations += d + (moment.counts[0] ?? 0);
    observedEvents += d;
    step++;
  });
  return {
    observations,
    observedEvents,
    time,
    atRisk,
    events,
    censored,
    survival,
    standardError,
    lower,
    upper,
    emptiedAt: emptiedAt === time[size - 1] ? null : emptiedAt,
  };
}

/** A curve read off at one time. */
export interface SurvivalReading {
  readonly time: number;
  /** Null after the last time of the curve, unless the curve has fallen to 0: nobody was observed so long. */
  readonly survival: number | null;
  readonly standardError: number | null;
  readonly lower: number | null;
  readonly upper: number | null;
}

/** The curve at given times, in any order. What is null there is null here; refuses a time that is not finite. */
export function survivalReadings(
  curve: KaplanMeierCurve,
  at: ArrayLike<number>,
): SurvivalReading[] | Refusal<'wrong-length' | 'wrong-value'> {
  const fault = checkColumn('at', at, FINITE);
  if (fault !== null) return fault;
  const end = curve.time[curve.time.length - 1] ?? NaN;
  return Array.from(at, (time) => {
    const step = lastNotAfter(curve.time, time);
    const survival = step < 0 ? 1 : (curve.survival[step] ?? NaN);
    if (!(time <= end) && survival > 0) {
      return { time, survival: null, standardError: null, lower: null, upper: null };
    }
    return {
      time,
      survival,
      standardError: step < 0 ? 0 : (curve.standardError[step] ?? null),
      lower: curve.lower[step] ?? null,
      upper: curve.upper[step] ?? null,
    };
  });
}
