import {
  numberAtRisk,
  survivalAt,
  turnbull,
  turnbullLimits,
  type CensoredInterval,
  type TurnbullFit,
} from '../survival';
import type { SurvivalAtYear } from './answer';
import type { DrawnLosses } from './drawn-losses';
import type { OutcomeQuestion } from './question';

/** Progress and stop, as the whole answer offers them. */
export interface SurvivalHooks {
  readonly progress: (fraction: number) => void;
  readonly shouldStop: () => boolean;
}

/** How a curve's limits are made. */
export interface CurveOptions extends Pick<OutcomeQuestion, 'level' | 'resamples' | 'seed'> {
  /** The same patients' losses under other curves and errors; null where none are known. */
  readonly drawn: DrawnLosses | null;
}

/** Patients resampled for one row of a table that sets many curves side by side: enough for two digits of its limits. */
const RESAMPLED_FOR_A_ROW = 1_000_000;
const FEWEST_RESAMPLES = 50;

/** The same options for one curve of many: of more than 2,000 patients fewer resamples than the answer itself has. */
export function rowOptions(options: CurveOptions, patients: number): CurveOptions {
  const enough = Math.max(FEWEST_RESAMPLES, Math.ceil(RESAMPLED_FOR_A_ROW / Math.max(1, patients)));
  return { ...options, resamples: Math.min(options.resamples, enough) };
}

/**
 * Survival at some years with the limits that the curve itself has: the same seed gives the same digits.
 *
 * @returns `stopped` where the hooks said so
 */
export function survivalAtYears(
  times: readonly CensoredInterval[],
  years: readonly number[],
  options: CurveOptions,
  hooks: SurvivalHooks,
): SurvivalAtYear[] | 'stopped' {
  if (times.length === 0) return years.map(nothingKnown);
  const fit = turnbull(times);
  const atRisk = years.map((year) => numberAtRisk(times, year));
  const limits = turnbullLimits(times, fit, years, atRisk, options, hooks, options.drawn);
  if (limits === null) return 'stopped';
  return years.map((year, i) =>
    survivalAtYear(fit, year, atRisk[i] ?? 0, {
      lower: limits.lower[i] ?? NaN,
      upper: limits.upper[i] ?? NaN,
    }),
  );
}

/** A fitted curve read at a year; nothing where nobody is followed so long. */
export function survivalAtYear(
  fit: TurnbullFit,
  year: number,
  atRisk: number,
  limits: NonNullable<SurvivalAtYear['limits']>,
): SurvivalAtYear {
  if (atRisk === 0) return nothingKnown(year);
  const { survival, undefinedWithin } = survivalAt(fit, year);
  return { year, estimate: survival, limits, atRisk, undefinedWithin };
}

/** A year to which nobody is followed. */
export function nothingKnown(year: number): SurvivalAtYear {
  return { year, estimate: null, limits: null, atRisk: 0, undefinedWithin: null };
}
