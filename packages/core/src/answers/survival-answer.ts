import { READ_ONCE, valueErrorVariance } from '../agreement';
import { isRefusal, normalQuantile } from '../numeric';
import type { VisitKind } from '../records';
import type { Yardstick } from '../retention';
import {
  areaLimits,
  exactLimits,
  falseLossProbability,
  kaplanMeier,
  numberAtRisk,
  restrictedMeanBounds,
  survivalAt,
  turnbull,
  turnbullLimits,
  type CensoredInterval,
  type CurveLimits,
  type KaplanMeierCurve,
  type LossRule,
  type TurnbullFit,
} from '../survival';
import type { CurvePoint, PatientOutcome, SurvivalAnswer, SurvivalAtYear } from './answer';
import { carriedDoubt, type DrawnLosses } from './drawn-losses';
import type { PreparedQuestion } from './prepared-question';
import type { OutcomeQuestion } from './question';
import {
  nothingKnown,
  rowOptions,
  survivalAtYear,
  survivalAtYears,
  type CurveOptions,
  type SurvivalHooks,
} from './survival-years';

/** Years at which survival is read off; those that are customarily reported are given even when nobody is left. */
const YEARS = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10];
const CUSTOMARY_YEARS = [1, 2, 3, 5, 10];
/** A mean to a year at which fewer are followed hangs on single patients. */
const ENOUGH_FOR_MEAN = 10;

/** Part of the work that goes into the curve; the rest goes into those of other rules. */
const CURVE_PART = 0.5;
const QUARTERS = 4;

const RULES: readonly LossRule[] = ['any-visit', 'confirmed', 'beyond-error'];

/**
 * Survival of the gain from the loss intervals of those in the risk set: Turnbull's curve with pointwise limits,
 * and beside it the conventional Kaplan-Meier curve, which takes the visit that found the loss for its time.
 *
 * @param drawn the same patients' losses under other curves and errors; null where none are known
 * @returns null where nobody is in the risk set; `stopped` where the hooks said so
 */
export function survivalAnswer(
  outcomes: readonly PatientOutcome[],
  { question, yardstick, methodError }: Pick<PreparedQuestion, 'question' | 'yardstick' | 'methodError'>,
  drawn: DrawnLosses | null,
  hooks: SurvivalHooks,
): SurvivalAnswer | null | 'stopped' {
  const inRiskSet = outcomes.filter(({ loss }) => loss !== null);
  const times = inRiskSet.flatMap(({ loss }) => (loss === null ? [] : [loss]));
  if (times.length === 0) return null;
  const part = (from: number, to: number): SurvivalHooks => ({
    ...hooks,
    progress: (fraction) => hooks.progress(from + (to - from) * fraction),
  });
  const main = intervalCensoredCurve(times, { ...question, drawn }, part(0, CURVE_PART));
  if (main === 'stopped') return 'stopped';
  const byRule = ruleRows(inRiskSet, main.curve.atYears, question, drawn, part(CURVE_PART, 1));
  if (byRule === 'stopped') return 'stopped';
  const curve = conventionalCurve(times, question.level);
  return {
    patients: times.length,
    losses: times.filter(({ right }) => right !== null).length,
    treatedAgain: inRiskSet.filter(({ treatedAgainAt }) => treatedAgainAt !== null).length,
    turnbull: main.curve,
    carried: carriedDoubt({ question, yardstick, methodError }),
    kaplanMeier: {
      points: conventionalPoints(curve),
      atYears: YEARS.map((year) => readKaplanMeier(curve, times, year)).filter(isShown),
    },
    byRule,
    falseLossesExpected: inRiskSet.reduce((sum, outcome) => sum + falseLoss(outcome, question, yardstick), 0),
  };
}

/** A curve with its limits, and what its mean was in each resample: for differences between curves. */
export interface IntervalCensoredCurve {
  readonly curve: SurvivalAnswer['turnbull'];
  readonly meanDraws: Float64Array;
}

/**
 * The interval-censored curve of some loss intervals with its pointwise limits, read off at whole years.
 *
 * @param until years that the restricted mean counts; null for none
 */
export function intervalCensoredCurve(
  times: readonly CensoredInterval[],
  options: CurveOptions,
  hooks: SurvivalHooks,
  until = restrictionOf(times),
): IntervalCensoredCurve | 'stopped' {
  const fit = turnbull(times);
  const drops = fit.intervals.filter(({ mass, right }) => mass > 1e-12 && right !== Infinity);
  const quarters = until === null ? [] : quarterYears(until);
  const at = [...drops.flatMap(({ left, right }) => [left, right]), ...YEARS, ...quarters];
  const firstYear = at.length - quarters.length - YEARS.length;
  const atRisk = at.map((time) => numberAtRisk(times, time));
  const limits = turnbullLimits(times, fit, at, atRisk, options, hooks, options.drawn);
  if (limits === null) return 'stopped';
  const points = at.map((time, i) => ({
    time,
    ...survivalAt(fit, time),
    lower: limits.lower[i] ?? NaN,
    upper: limits.upper[i] ?? NaN,
  }));
  const mean = until === null ? null : restrictedMeanOf(fit, until, limits, firstYear + YEARS.length);
  const curve = {
    intervals: fit.intervals.filter(({ mass }) => mass > 1e-12),
    points: points.slice(0, firstYear).map(toCurvePoint),
    atYears: YEARS.map((year, i) => {
      const { lower, upper } = points[firstYear + i] ?? { lower: NaN, upper: NaN };
      return survivalAtYear(fit, year, atRisk[firstYear + i] ?? 0, { lower, upper });
    }).filter(isShown),
    converged: fit.converged,
    iterations: fit.iterations,
    optimalityGap: fit.optimalityGap,
    logLikelihood: fit.logLikelihood,
    resamples: limits.resamples,
    restrictedMean: mean?.mean ?? null,
  };
  return { curve, meanDraws: mean?.draws ?? new Float64Array() };
}

/** The last customary year at which ten patients are still followed; null where there is none. */
export function restrictionOf(times: readonly CensoredInterval[]): number | null {
  const years = CUSTOMARY_YEARS.filter((year) => numberAtRisk(times, year) >= ENOUGH_FOR_MEAN);
  return years[years.length - 1] ?? null;
}

function quarterYears(until: number): number[] {
  return Array.from({ length: QUARTERS * until }, (_, i) => (i + 1) / QUARTERS);
}

/** Mean years with the gain, of the first `until`: the area under the curve, with its limits and its draws. */
function restrictedMeanOf(
  fit: TurnbullFit,
  until: number,
  limits: CurveLimits,
  first: number,
): {
  readonly mean: NonNullable<SurvivalAnswer['turnbull']['restrictedMean']>;
  readonly draws: Float64Array;
} {
  const { mean, lower, upper } = restrictedMeanBounds(fit, until);
  const area = areaLimits(mean, {
    step: 1 / QUARTERS,
    survival: quarterYears(until).map((time) => survivalAt(fit, time).survival),
    lower: limits.lower.slice(first),
    upper: limits.upper.slice(first),
    draws: limits.draws.slice(first),
  });
  return {
    mean: {
      until,
      estimate: mean,
      undefinedWithin: { lower, upper },
      limits: { lower: area.lower, upper: area.upper },
    },
    draws: area.draws,
  };
}

/**
 * Survival at the customary years under each of the loss rules, with limits made as the answer's own are.
 *
 * @param asked the answer's own years, under the rule asked for
 * @returns `stopped` where the hooks said so
 */
function ruleRows(
  outcomes: readonly PatientOutcome[],
  asked: readonly SurvivalAtYear[],
  question: OutcomeQuestion,
  drawn: DrawnLosses | null,
  hooks: SurvivalHooks,
): SurvivalAnswer['byRule'] | 'stopped' {
  const rows: SurvivalAnswer['byRule'][number][] = [];
  for (const [i, rule] of RULES.entries()) {
    const times = outcomes.flatMap(({ lossByRule }) => (lossByRule === null ? [] : [lossByRule[rule]]));
    const options = rowOptions({ ...question, drawn: drawn?.under(rule) ?? null }, times.length);
    const atYears =
      rule === question.rule
        ? asked.filter(({ year }) => CUSTOMARY_YEARS.includes(year))
        : survivalAtYears(times, CUSTOMARY_YEARS, options, {
            ...hooks,
            progress: (fraction) => hooks.progress((i + fraction) / RULES.length),
          });
    if (atYears === 'stopped') return 'stopped';
    rows.push({ rule, losses: times.filter(({ right }) => right !== null).length, atYears });
  }
  return rows;
}

function toCurvePoint({ time, survival, lower, upper }: CurvePoint): CurvePoint {
  return { time, survival, lower, upper };
}

/**
 * Kaplan-Meier with the visit that found the loss as its time.
 * @throws RangeError where a loss interval has no time, which none may
 */
function conventionalCurve(times: readonly CensoredInterval[], level: number): KaplanMeierCurve {
  const curve = kaplanMeier(
    {
      time: times.map(({ left, right }) => right ?? left),
      event: times.map(({ right }) => (right === null ? 0 : 1)),
    },
    { level },
  );
  if (isRefusal(curve)) throw new RangeError(curve.message);
  return curve;
}

function conventionalPoints(curve: KaplanMeierCurve): CurvePoint[] {
  return Array.from(curve.time, (time, step) => ({
    time,
    survival: curve.survival[step] ?? NaN,
    ...conventionalLimits(curve, step),
  })).filter((_, step) => (curve.events[step] ?? 0) > 0);
}

/** Greenwood's variance is not defined once everybody is lost; the exact limits of the last number at risk stand in. */
function conventionalLimits(curve: KaplanMeierCurve, step: number): { lower: number; upper: number } {
  const lower = curve.lower[step] ?? null;
  const upper = curve.upper[step] ?? null;
  if (lower !== null && upper !== null) return { lower, upper };
  return exactLimits(curve.survival[step] ?? NaN, curve.atRisk[step] ?? NaN, curve.level);
}

function readKaplanMeier(
  curve: KaplanMeierCurve,
  times: readonly CensoredInterval[],
  year: number,
): SurvivalAtYear {
  const atRisk = numberAtRisk(times, year);
  if (atRisk === 0) return nothingKnown(year);
  const step = curve.time.filter((time) => time <= year).length - 1;
  const estimate = curve.survival[step] ?? 1;
  const limits = estimate === 1 ? exactLimits(1, atRisk, curve.level) : conventionalLimits(curve, step);
  return { year, estimate, limits, atRisk, undefinedWithin: null };
}

function isShown({ year, atRisk }: SurvivalAtYear): boolean {
  return atRisk > 0 || CUSTOMARY_YEARS.includes(year);
}

/** Chance that error alone would show this patient as lost, had the whole estimated gain been kept. */
function falseLoss(outcome: PatientOutcome, question: OutcomeQuestion, { error }: Yardstick): number {
  const { threshold, rule, level } = question;
  const gain = outcome.gain?.estimate ?? NaN;
  const varianceAt = (kind: VisitKind): number =>
    valueErrorVariance(error, outcome.visits.find((visit) => visit.kind === kind) ?? READ_ONCE);
  const q = threshold.kind === 'share' ? threshold.share : 0;
  const visits = outcome.visits.filter(
    ({ kind, years, status }) => kind === 'follow_up' && (years ?? 0) > 0 && status?.margin !== null,
  );
  const course = {
    trueMargin: threshold.kind === 'share' ? (1 - q) * gain : gain - threshold.amount,
    sharedSd: Math.sqrt(q ** 2 * varianceAt('end_of_active') + (1 - q) ** 2 * varianceAt('start')),
    ownSds: visits.map((visit) => Math.sqrt(valueErrorVariance(error, visit))),
  };
  return falseLossProbability(course, rule, normalQuantile(level));
}
